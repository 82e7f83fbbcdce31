"""One check of a material before its trial: verdict, figure, sentence, and the usual caution."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from historian.sensors.uncertainty import COVERAGE
from trials.results import LabResult


class Verdict(StrEnum):
    """What a check comes to; none of them says that anything is harmless."""

    WITHIN = "within the limit"
    BEYOND = "beyond the limit"
    UNSURE = "not told apart from the limit"
    NO_LIMIT = "no limit is told"
    NOT_KNOWN = "not known"
    NOT_ASSESSED = "not assessed"
    FOUND = "found"
    NOT_FOUND = "not found in what was looked at"


@dataclass(frozen=True, slots=True)
class Check:
    """One check.

    Attributes:
        name: what is checked, for a person.
        sentence: what is seen, with the figure behind it; or what is not known, and the remedy.
        caution: what to keep in mind about such a figure.
        value: the figure; None when there is none. low, high: its range, about 95 % or as the sentence says.
        limit: what it is held against; None where none is told.
        unit: UCUM code of all four.
    """

    name: str
    verdict: Verdict
    sentence: str
    caution: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    limit: float | None = None
    unit: str = "1"


def held_to_most(low: float, high: float, limit: float | None) -> Verdict:
    """How a range stands to what is the most."""
    if limit is None:
        return Verdict.NO_LIMIT
    if high <= limit:
        return Verdict.WITHIN
    return Verdict.BEYOND if low > limit else Verdict.UNSURE


def held_to_least(low: float, high: float, limit: float | None) -> Verdict:
    """How a range stands to what is the least."""
    if limit is None:
        return Verdict.NO_LIMIT
    if low >= limit:
        return Verdict.WITHIN
    return Verdict.BEYOND if high < limit else Verdict.UNSURE


def range_of(result: LabResult) -> tuple[float, float]:
    """About 95 % of where a result may lie; of "less than", from nothing to that."""
    if result.less_than:
        return 0.0, result.value
    wide = COVERAGE * (result.uncertain or 0.0)
    return max(0.0, result.value - wide), result.value + wide
