"""From a source's number to a tag's, and which numbers cannot be believed."""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

from historian.catalogue import meaning_of
from historian.quality import RANGE_EXCEEDED
from historian.tags import Tag
from historian.units import conversion

FINITE = sys.float_info.max


@dataclass(frozen=True, slots=True)
class Scaling:
    """A straight line, and limits for what comes out of it; all but ``scale`` in the tag's unit.

    Attributes:
        scale, offset: value = raw · scale + offset.
        low, high: a value from low to high is as good as the source says.
        fails_low, fails_high: at or beyond them the sensor has failed.
        doubt: quality of a good value that is between the two pairs of limits.
    """

    scale: float
    offset: float
    low: float = -FINITE
    high: float = FINITE
    fails_low: float = -math.inf
    fails_high: float = math.inf
    doubt: int = RANGE_EXCEEDED


def plain_scaling(unit: str, tag: Tag) -> Scaling:
    """A source that delivers a measured quantity; its limits are what the catalogue says a sensor can show.

    Raises:
        UnknownUnit, UnitMismatch: the source's unit cannot become the tag's.

    Example:
        >>> from historian.catalogue import canonical_tag
        >>> plain_scaling("MPa", canonical_tag("die.pressure.pv"))
        Scaling(scale=10.0, offset=0.0, low=-10, high=500, fails_low=-inf, fails_high=inf, doubt=1083441152)
    """
    scale, offset = conversion(unit, tag.unit)
    meaning = meaning_of(tag.path)
    if meaning is None:
        return Scaling(scale, offset)
    return Scaling(scale, offset, meaning.low, meaning.high)
