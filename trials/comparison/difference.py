"""The difference of two figures, and whether it is larger than its uncertainty."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

from historian.sensors.uncertainty import combined
from trials.figures.figure import Figure

_ROUNDING = 1e-12
_NO_SHARE = frozenset({"Cel", "%"})


class Verdict(StrEnum):
    """What is said of a difference."""

    LARGER = "larger than its uncertainty"
    WITHIN = "not larger than its uncertainty"
    UNKNOWN = "its uncertainty is not known"
    NOT_JUDGED = "not judged"
    NONE = "no difference"


@dataclass(frozen=True, slots=True)
class Difference:
    """A figure of one side less that of the first.

    Attributes:
        value: in the figure's unit; None where there is none.
        percent: of the first side's figure; None where that says nothing: of a temperature, of a
            percentage, of what is not larger than its own uncertainty.
        expanded: its expanded uncertainty; None when it is not known.
        why: why there is none, or why it is not judged; empty otherwise.
    """

    value: float | None
    percent: float | None
    expanded: float | None
    verdict: Verdict
    why: str = ""


def difference(first: Figure, other: Figure, unlike: str = "", *, same_sensors: bool = False) -> Difference:
    """The other figure less the first.

    Args:
        unlike: why the two may not be judged against each other; empty: they may.
        same_sensors: whether the same sensors measured both, so that what these are off by cancels.

    Source: JCGM 100:2008, 5.2.2 and F.1.2.3: what a common source brings is fully correlated; 5.1.2: the rest
        is taken as independent, so the uncertainty may be rather too large.

    Example:
        >>> made = [Figure("feed", v, "kg/h", (), "", u) for v, u in ((780.0, 3.0), (790.0, 4.0))]
        >>> one = difference(*made)
        >>> one.value, one.expanded, str(one.verdict)
        (10.0, 10.0, 'not larger than its uncertainty')
    """
    if first.value is None or other.value is None:
        why = first.absent if first.value is None else other.absent
        return Difference(None, None, None, Verdict.NONE, why)
    if first.unit != other.unit:
        return Difference(
            None, None, None, Verdict.NONE, f"one is in {first.unit}, the other in {other.unit}"
        )
    value = other.value - first.value
    if abs(value) <= _ROUNDING * max(abs(first.value), abs(other.value)):
        value = 0.0
    percent = 100 * value / abs(first.value) if _has_share(first) else None
    expanded = None
    if first.standard_uncertainty is not None and other.standard_uncertainty is not None:
        coverage = max(first.coverage, other.coverage)
        common = first.sensors.keys() & other.sensors.keys() if same_sensors else set()
        left = [_without(figure, common) for figure in (first, other)]
        moved = [other.sensors[source] - first.sensors[source] for source in common]
        # A single reading, such as the highest, has no scatter: that nothing is left means nothing is known.
        expanded = coverage * combined(*left, *moved) if not common or max(left) > 0 else None
    if unlike:
        return Difference(value, percent, expanded, Verdict.NOT_JUDGED, unlike)
    if expanded is None:
        return Difference(value, percent, None, Verdict.UNKNOWN)
    verdict = Verdict.LARGER if abs(value) > expanded else Verdict.WITHIN
    return Difference(value, percent, expanded, verdict)


def _without(figure: Figure, sources: Collection[str]) -> float:
    """A figure's standard uncertainty without what some sources bring."""
    whole = figure.standard_uncertainty or 0.0
    left = whole**2 - sum(figure.sensors[s] ** 2 for s in sources)
    return sqrt(left) if left > _ROUNDING * whole**2 else 0.0


def _has_share(figure: Figure) -> bool:
    """Whether a share of it says something."""
    if not figure.value or figure.unit in _NO_SHARE:
        return False
    return abs(figure.value) > (figure.expanded or 0.0)
