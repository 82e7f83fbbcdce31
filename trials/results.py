"""What the laboratory found, put together: replicates are one result with its scatter. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import sqrt
from statistics import fmean, stdev

from historian.units import quantity
from trials.forms.forms import measured
from trials.forms.measures import Of, measure_of
from trials.record.entries import Entry, What


@dataclass(frozen=True, slots=True)
class LabResult:
    """One thing that was measured of one sample, or of a lot before the trial.

    Attributes:
        sample: its name; empty for the analysis before the trial.
        what, of: see ``trials.forms.measures``.
        value: mean of the replicates, in ``unit``; where some are less than a limit, the greatest value that
            it can be.
        unit: UCUM code.
        less_than: whether the value is only an upper bound.
        n: how many replicates.
        scatter: standard deviation of one replicate; None with fewer than two, or where it is a bound.
        uncertain: standard deviation of the mean (GUM, type A); None likewise.
        condition: method, temperature and load as they were told; results of other conditions stand apart.
        entries: numbers of the entries behind it.
    """

    sample: str
    what: str
    of: Of
    value: float
    unit: str
    less_than: bool
    n: int
    scatter: float | None
    uncertain: float | None
    condition: str
    entries: tuple[int, ...]


def results_of(entries: Iterable[Entry]) -> list[LabResult]:
    """The results of a record, by sample, what was measured, and condition.

    Args:
        entries: that stand; a replicate that was written twice counts once, the newest.
    """
    groups: dict[tuple[str, str, str, str], dict[int, Entry]] = {}
    for entry in sorted(entries, key=lambda e: e.id):
        if entry.what in (What.RESULT, What.PRE_ANALYSIS):
            data = entry.data
            of = str(data.get("of", Of.PELLETS if entry.what is What.RESULT else Of.FEED))
            key = (str(data.get("sample", "")), str(data["what"]), of, _condition(entry))
            groups.setdefault(key, {})[int(data.get("replicate", 1))] = entry
    return [_one(*key, list(replicates.values())) for key, replicates in sorted(groups.items())]


def _one(sample: str, what: str, of: str, condition: str, entries: list[Entry]) -> LabResult:
    values = [measured(what, str(e.data["value"]), Of(of)) for e in entries]
    numbers, less = [v for v, _ in values], any(bound for _, bound in values)
    scatter = stdev(numbers) if len(numbers) > 1 and not less else None
    return LabResult(
        sample,
        what,
        Of(of),
        fmean(numbers),
        measure_of(what).unit,
        less,
        len(numbers),
        scatter,
        None if scatter is None else scatter / sqrt(len(numbers)),
        condition,
        tuple(e.id for e in entries),
    )


def _condition(entry: Entry) -> str:
    """Conditions that are the same in other units are one."""
    parts = []
    if (temperature := entry.data.get("temperature")) is not None:
        parts.append(f"{quantity(str(temperature), 'Cel'):g} °C")
    if (load := entry.data.get("load")) is not None:
        parts.append(f"{quantity(str(load), 'kg'):g} kg")
    if (method := entry.data.get("method")) is not None:
        parts.append(str(method))
    return ", ".join(parts)
