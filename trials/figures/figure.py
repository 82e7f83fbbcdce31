"""A figure of a trial: its value with unit, window, method and uncertainty, or the reason why it has none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite

from historian.sensors.uncertainty import COVERAGE
from rules.review import Window
from trials.figures.measured import Measured

VALID_SHARE = 0.95
"""Below this share of known samples a figure is only indicative. common practice, no source."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure.

    Attributes:
        name: what it is, for a person.
        value: None when it is not known.
        unit: UCUM code.
        windows: the time that it speaks of; empty when there is none.
        method: how it was found, in a sentence.
        standard_uncertainty: in the unit; None when it is not known or was not judged.
        coverage: factor from the standard to the expanded uncertainty.
        tags: paths behind it.
        absent: why there is no value; empty when there is one.
        remarks: what limits it, each a sentence.
        sensors: what each source of its sensors brings to the standard uncertainty, signed; another figure of
            the same sensors shares it.
    """

    name: str
    value: float | None
    unit: str
    windows: tuple[Window, ...]
    method: str
    standard_uncertainty: float | None = None
    coverage: float = COVERAGE
    tags: tuple[str, ...] = ()
    absent: str = ""
    remarks: tuple[str, ...] = ()
    sensors: Mapping[str, float] = field(default_factory=dict)

    @property
    def expanded(self) -> float | None:
        """Expanded uncertainty, in the unit; None when it is not known."""
        return None if self.standard_uncertainty is None else self.coverage * self.standard_uncertainty

    @classmethod
    def of(
        cls,
        name: str,
        unit: str,
        measured: Measured,
        windows: Sequence[Window],
        method: str,
        remarks: Iterable[str] = (),
    ) -> Figure:
        """The figure that a value makes; its reason stands in ``absent`` when it is not known."""
        if not measured.known or not isfinite(measured.value):
            why = measured.why or "these values give no number"
            return cls(name, None, unit, tuple(windows), method, None, COVERAGE, measured.tags, why)
        told = list(remarks)
        if measured.known_share < VALID_SHARE:
            told.append(f"Indicative: known for {100 * measured.known_share:.0f} % of the time only.")
        if measured.unknown:
            who = ", ".join(sorted(measured.unknown))
            told.append(f"No uncertainty is stated: none is known of {who}.")
        return cls(
            name,
            float(measured.value),
            unit,
            tuple(windows),
            method,
            measured.standard if measured.parts else None,
            COVERAGE,
            measured.tags,
            "",
            tuple(told),
            measured.sensors if measured.parts else {},
        )
