"""Aggregates over the samples inside an interval, by count: nothing outside it is looked at.

The one exception is NumberOfTransitions, which compares with the sample before the interval.
"""

from __future__ import annotations

import numpy as np

from historian.aggregates._codes import CODE_MASK, IS_BAD, IS_GOOD, sub_normal_where
from historian.aggregates._extremes import good_extreme
from historian.aggregates._grid import Grid, Indices
from historian.aggregates._outcome import Outcome, calculated
from historian.frame import Times
from historian.quality import NO_DATA, Mask, is_bad


def average(grid: Grid) -> Outcome:
    """Arithmetic mean of the good samples.

    Source: OPC 10000-13 5.4.3.5.
    """
    good, slices = grid.at_level(IS_GOOD)
    value = grid.value[good]
    total = slices.reduce(np.add, value, np.nan)
    mean = total / np.maximum(slices.count, 1)
    # Rounding may carry the mean of equal values past them.
    lowest, highest = (slices.reduce(how, value, np.nan) for how in (np.minimum, np.maximum))
    mean = np.minimum(np.maximum(mean, lowest), highest)
    return calculated(slices.empty, mean, grid.counts().code(grid.config))


def count(grid: Grid) -> Outcome:
    """How many good samples; zero where there is none but the interval lies within the data.

    Source: OPC 10000-13 5.4.3.21.
    """
    counts = grid.counts()
    return calculated(_nowhere(grid), counts.good, counts.code(grid.config))


def number_of_transitions(grid: Grid) -> Outcome:
    """How often the value changed; the very first value counts as a change.

    Source: OPC 10000-13 5.4.3.24.
    """
    usable = np.flatnonzero(grid.level != IS_BAD)
    value = grid.value[usable]
    changed = np.ones(len(usable), dtype=np.int64)
    changed[1:] = value[1:] != value[:-1]
    number = grid.cut(grid.time_ns[usable]).reduce(np.add, changed, 0)
    return calculated(_nowhere(grid), number.astype(np.float64), grid.counts().code(grid.config))


def annotation_count(grid: Grid, annotations_ns: Times) -> Outcome:
    """How many annotations.

    Args:
        annotations_ns: their times in any order, UTC nanoseconds, shape (k,).

    Source: OPC 10000-13 5.4.3.20.
    """
    number = grid.cut(np.sort(annotations_ns)).count.astype(np.float64)
    return calculated(_nowhere(grid), number, sub_normal_where(_nowhere(grid)))


def value_range(grid: Grid) -> Outcome:
    """Maximum less minimum of the good samples.

    Source: OPC 10000-13 5.4.3.14.
    """
    lowest, highest = good_extreme(grid, 1.0), good_extreme(grid, -1.0)
    code = sub_normal_where(lowest.doubtful | highest.doubtful)
    return calculated(lowest.missing, highest.value - lowest.value, code)


def start(grid: Grid) -> Outcome:
    """The first sample as it stands, at its own time.

    Source: OPC 10000-13 5.4.3.25.
    """
    return _sample(grid, grid.inside.low)


def end(grid: Grid) -> Outcome:
    """The last sample as it stands, at its own time.

    Source: OPC 10000-13 5.4.3.26.
    """
    return _sample(grid, grid.inside.high - 1)


def delta(grid: Grid) -> Outcome:
    """Last good sample less the first good one.

    Source: OPC 10000-13 5.4.3.27.
    """
    good, slices = grid.at_level(IS_GOOD)
    missing = slices.empty
    value = np.full(len(missing), np.nan)
    skipped = np.zeros(len(missing), dtype=np.bool_)
    first, last = good[slices.low[~missing]], good[slices.high[~missing] - 1]
    value[~missing] = grid.value[last] - grid.value[first]
    skipped[~missing] = (first > grid.inside.low[~missing]) | (last < grid.inside.high[~missing] - 1)
    return calculated(missing, value, sub_normal_where(skipped))


def _sample(grid: Grid, at: Indices) -> Outcome:
    filled = ~grid.inside.empty
    value = np.full(len(filled), np.nan)
    quality = np.full(len(filled), NO_DATA, dtype=np.uint32)
    time_ns = grid.starts_ns.copy()
    chosen = at[filled]
    time_ns[filled] = grid.time_ns[chosen]
    quality[filled] = grid.quality[chosen] & np.uint32(CODE_MASK)
    value[filled] = np.where(is_bad(grid.quality[chosen]), np.nan, grid.value[chosen])
    return Outcome(value, quality, time_ns)


def _nowhere(grid: Grid) -> Mask:
    return np.zeros(len(grid.starts_ns), dtype=np.bool_)
