"""What an aggregate hands back before the rules that all share are applied."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from historian.aggregates._codes import CALCULATED
from historian.frame import Qualities, Times, Values
from historian.quality import BAD, NO_DATA, Mask


@dataclass(frozen=True, slots=True)
class Outcome:
    """One value and quality an interval.

    Attributes:
        value: NaN where there is none, shape (intervals,).
        quality: StatusCode with its bits, but for Partial, shape (intervals,).
        time_ns: the sample's own time where the aggregate gives it; None: the start of the interval.
    """

    value: Values
    quality: Qualities
    time_ns: Times | None = None


def no_data_where(mask: Mask, value: Values, quality: Qualities) -> Outcome:
    """The value and quality, but Bad_NoData where the mask is set, and no value where the quality is bad."""
    quality = np.where(mask, np.uint32(NO_DATA), quality)
    bad = (quality & np.uint32(BAD)) != 0
    # A quality without a value says nothing of where a value came from.
    quality = np.where(bad, quality & np.uint32(0xFFFF_0000), quality)
    return Outcome(np.where(bad, np.nan, value), quality)


def calculated(mask: Mask, value: Values, code: Qualities) -> Outcome:
    """A computed value with its code; Bad_NoData where the mask is set."""
    return no_data_where(mask, value, code | np.uint32(CALCULATED))
