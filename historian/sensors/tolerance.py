"""Limits of error that a maker or a standard promises, for sensors of which nothing better is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from historian.catalogue import meaning_of
from historian.errors import UnknownUnit, WrongInput
from historian.tags import Tag, TagKind
from historian.units import difference_scale, ucum

_OTHER_SPAN: Final = 0.01
"""Part of the range that is taken for the limit of error. common practice, no source."""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """A limit of error that may grow with the value: ± the larger of least and fixed + share · abs(value).

    Attributes:
        name: for a person.
        fixed, least: in the value's unit.
        share: per unit of the value.
    """

    name: str
    fixed: float = 0.0
    share: float = 0.0
    least: float = 0.0

    def limit(self, value: float) -> float:
        """Half width of the limits at a value, in its unit.

        Example:
            >>> CLASSES["Pt100 A"].limit(200.0), CLASSES["thermocouple K 2"].limit(400.0)
            (0.55, 3.0)
        """
        return max(self.least, self.fixed + self.share * abs(value))


def _pt100(name: str, fixed: float, share: float) -> Tolerance:
    return Tolerance(f"Pt100 class {name} of IEC 60751", fixed, share)


def _thermocouple(kind: str, number: int, least: float, share: float) -> Tolerance:
    return Tolerance(f"thermocouple {kind} class {number} of IEC 60584-1", share=share, least=least)


CLASSES: Final[Mapping[str, Tolerance]] = {
    "Pt100 AA": _pt100("AA", 0.10, 0.0017),
    "Pt100 A": _pt100("A", 0.15, 0.002),
    "Pt100 B": _pt100("B", 0.30, 0.005),
    "Pt100 C": _pt100("C", 0.60, 0.01),
    **{f"thermocouple {k} 1": _thermocouple(k, 1, 1.5, 0.004) for k in "JKNE"},
    **{f"thermocouple {k} 2": _thermocouple(k, 2, 2.5, 0.0075) for k in "JKNE"},
    "thermocouple T 1": _thermocouple("T", 1, 0.5, 0.004),
    "thermocouple T 2": _thermocouple("T", 2, 1.0, 0.0075),
}
"""Accuracy classes by name, for temperatures in Cel above 0 Cel; the wiring and the transmitter come on top.

Source: IEC 60751 (tolerance classes), IEC 60584-1 (tolerance classes 1 and 2).
"""


def tolerance_of(text: str, span: float, unit: str) -> Tolerance:
    """What a written accuracy promises.

    Args:
        text: one of ``CLASSES``; a part of the range, "0.5 %"; or a limit with its unit, "1.2 bar".
        span: of the sensor's range, in the unit.
        unit: UCUM code of the tag.

    Raises:
        UnknownUnit, UnitMismatch: it is none of them, or measures something else.
        WrongInput: a class is for temperatures only; or the limit is negative.

    Example:
        >>> [tolerance_of(text, 350.0, "bar").limit(120.0) for text in ("0.5 %", "0.1 MPa")]
        [1.75, 1.0]
    """
    if text in CLASSES:
        if ucum(unit) != "Cel":
            raise WrongInput(f"'{text}' is a class of temperature sensors, and the tag is in {unit}")
        return CLASSES[text]
    number, _, written = text.strip().partition(" ")
    try:
        value = float(number)
    except ValueError as error:
        raise UnknownUnit(
            f"'{text[:40]}' is no accuracy: write a part of the range such as 0.5 %, a limit such as "
            f"1.2 bar, or one of {', '.join(CLASSES)}"
        ) from error
    if not 0.0 <= value < float("inf"):
        raise WrongInput(f"'{text[:40]}': a limit of error is a number from 0 up")
    if written.strip() == "%" and ucum(unit) != "%":
        return Tolerance(f"{value:g} % of the range", value / 100.0 * span)
    return Tolerance(f"± {text.strip()}", value * difference_scale(written, unit))


def default_tolerance(tag: Tag) -> Tolerance | None:
    """What is assumed of a tag's sensor when nobody describes it; None for what no sensor measures.

    Example:
        >>> from historian.catalogue import canonical_tag
        >>> default_tolerance(canonical_tag("filter.plate.3.temp.pv")).name
        'thermocouple K class 2 of IEC 60584-1'
        >>> default_tolerance(canonical_tag("filter.plate.3.temp.sp")) is None
        True
    """
    meaning = meaning_of(tag.path)
    if tag.kind is not TagKind.ANALOG or meaning is None or not tag.path.endswith(".pv"):
        return None
    if tag.unit == "Cel":
        return CLASSES["thermocouple K 2"]
    span = meaning.high - meaning.low
    return Tolerance(
        f"{_OTHER_SPAN * 100:g} % of the range {meaning.low:g} to {meaning.high:g} {tag.unit}",
        _OTHER_SPAN * span,
    )
