"""Minimum and maximum, of the samples alone and with the values at the edges of the interval.

A maximum is the minimum of the values with their sign turned, so each pair is one function.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from historian.aggregates._codes import (
    CALCULATED,
    IS_BAD,
    IS_GOOD,
    IS_UNCERTAIN,
    MULTIPLE_VALUES,
    flag,
    sub_normal_where,
)
from historian.aggregates._grid import Grid
from historian.aggregates._outcome import Outcome, no_data_where
from historian.frame import Times, Values
from historian.quality import Mask


@dataclass(frozen=True, slots=True)
class Extreme:
    """The lowest (or highest) good sample of each interval.

    Attributes:
        value: NaN where missing, shape (intervals,).
        time_ns: of the oldest sample that has it; the interval's start where missing, shape (intervals,).
        several: more than one sample has it, shape (intervals,).
        doubtful: bad samples were left out, or an uncertain one lies beyond it, shape (intervals,).
        missing: no good sample, shape (intervals,).
    """

    value: Values
    time_ns: Times
    several: Mask
    doubtful: Mask
    missing: Mask


def good_extreme(grid: Grid, sign: float) -> Extreme:
    """The lowest good sample of each interval for a sign of 1, the highest for -1."""
    good, slices = grid.at_level(IS_GOOD)
    signed = sign * grid.value[good]
    lowest = slices.reduce(np.minimum, signed, np.nan)
    has_it = signed[slices.low[0] : slices.high[-1]] == slices.spread(lowest)
    missing = slices.empty
    time_ns = grid.starts_ns.copy()
    time_ns[~missing] = grid.time_ns[good[slices.first_where(has_it)[~missing]]]
    several = slices.count_where(has_it) > 1
    unsure, unsure_slices = grid.at_level(IS_UNCERTAIN)
    beyond = unsure_slices.reduce(np.minimum, sign * grid.value[unsure], np.inf) < lowest
    doubtful = beyond | ~grid.at_level(IS_BAD)[1].empty
    return Extreme(sign * lowest, time_ns, several, doubtful, missing)


def extreme(grid: Grid, sign: float, *, own_time: bool) -> Outcome:
    """Minimum and Maximum, at the start of the interval or, with ``own_time``, at the sample's.

    A sample that is given with its own time is Raw, also where the result is uncertain: the table of
    characteristics asks for Raw and Calculated at once, which 5.3.3.1 excludes.

    Source: OPC 10000-13 5.4.3.10 to 5.4.3.13.
    """
    found = good_extreme(grid, sign)
    as_stored = (found.time_ns == grid.starts_ns) & ~found.doubtful
    if own_time:
        as_stored[:] = True
    quality = sub_normal_where(found.doubtful)
    quality |= flag(CALCULATED, ~as_stored) | flag(MULTIPLE_VALUES, found.several)
    outcome = no_data_where(found.missing, found.value, quality)
    return Outcome(outcome.value, outcome.quality, found.time_ns) if own_time else outcome
