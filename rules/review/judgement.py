"""A figure beside the published one, and what may be said of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import isnan

from rules.review.published import LEAST_DAYS, PUBLISHED, Published


class Judgement(StrEnum):
    """How a figure stands to the published one; the value is how a person reads it."""

    WITHIN = "within"
    ABOVE_TARGET = "above the target, within the maximum"
    ABOVE = "above"
    NOT_ENOUGH = "not enough data"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of the review.

    Attributes:
        key: of the published figure that it is set beside, see ``PUBLISHED``.
        value: in the published figure's unit; NaN where it cannot be told.
        judgement: what may be said of it.
        why: what there is to know about it; empty where nothing is.
    """

    key: str
    value: float
    judgement: Judgement
    why: str = ""

    @property
    def published(self) -> Published:
        """The figure that it is set beside."""
        return PUBLISHED[self.key]


def judged(key: str, value: float, days: float, *, lacks: str = "", why: str = "") -> Figure:
    """The figure with its judgement.

    What is above in a short window is above in that window; that a line is within is said only of as many
    days as the standard asks for.

    Args:
        days: of data.
        lacks: why the figure tells nothing, whatever it is; empty: it tells something.

    Example:
        >>> str(judged("per hour", 13, 1).judgement), str(judged("per hour", 3, 1).judgement)
        ('above', 'not enough data')
        >>> str(judged("per hour", 3, 30).judgement)
        'within'
    """
    published = PUBLISHED[key]
    if isnan(value) or lacks or published.maximum is None or published.target is None:
        return Figure(key, value, Judgement.NOT_ENOUGH, lacks or why)
    if _exceeds(value, published.maximum, published.strict):
        return Figure(key, value, Judgement.ABOVE, why)
    if _exceeds(value, published.target, published.strict):
        return Figure(key, value, Judgement.ABOVE_TARGET, why)
    if days < LEAST_DAYS:
        short = f"{days:.2g} of {LEAST_DAYS} days"
        return Figure(key, value, Judgement.NOT_ENOUGH, f"{why}; {short}" if why else short)
    return Figure(key, value, Judgement.WITHIN, why)


def _exceeds(value: float, limit: float, strict: bool) -> bool:
    return value >= limit if strict else value > limit
