"""Minimum, maximum and range with the values at the edges of the interval.

Source: OPC 10000-13 5.4.3.15 to 5.4.3.19.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from historian.aggregates._codes import (
    CALCULATED,
    INTERPOLATED,
    IS_BAD,
    MULTIPLE_VALUES,
    flag,
)
from historian.aggregates._grid import Grid
from historian.aggregates._outcome import Outcome, calculated, no_data_where
from historian.aggregates._path import Path, regions, simple_path
from historian.frame import Qualities, Times, Values
from historian.quality import BAD, NO_DATA, Mask


@dataclass(frozen=True, slots=True)
class Bounded:
    """The lowest (or highest) value of each interval, edges included.

    Attributes:
        value: NaN where missing, shape (intervals,).
        time_ns: of the oldest point that has it; a nanosecond before the end for the end's bounding value.
        several: more than one point has it.
        at_edge: it is a bounding value.
        estimated: it is a bounding value between samples.
        missing: there is no value that is not bad.
    """

    value: Values
    time_ns: Times
    several: Mask
    at_edge: Mask
    estimated: Mask
    missing: Mask


def bounded_extreme(grid: Grid, sign: float, *, own_time: bool) -> Outcome:
    """Minimum2 and Maximum2, at the start of the interval or, with ``own_time``, at the point's own time."""
    path = simple_path(grid)
    found = _lowest(grid, path, sign)
    quality = _code(grid, path) | flag(INTERPOLATED, found.estimated)
    quality |= flag(MULTIPLE_VALUES, found.several)
    if not own_time:
        quality |= flag(CALCULATED, ~found.at_edge)
        return no_data_where(found.missing, found.value, quality)
    outcome = no_data_where(found.missing, found.value, quality)
    bad = np.isnan(outcome.value)
    return Outcome(outcome.value, outcome.quality, np.where(bad, grid.starts_ns, found.time_ns))


def bounded_range(grid: Grid) -> Outcome:
    """Maximum2 less Minimum2; Bad_NoData where they are bad.

    Source: OPC 10000-13 5.4.3.19.
    """
    path = simple_path(grid)
    lowest, highest = _lowest(grid, path, 1.0), _lowest(grid, path, -1.0)
    code = _code(grid, path)
    code[code == BAD] = NO_DATA
    return calculated(lowest.missing, highest.value - lowest.value, code)


def _code(grid: Grid, path: Path) -> Qualities:
    return regions(path, stepped=grid.stepped).shares().code(grid.config)


def _lowest(grid: Grid, path: Path, sign: float) -> Bounded:
    usable = path.level != IS_BAD
    signed = np.where(usable, sign * path.value, np.inf)
    points = path.pieces
    lowest = points.reduce(np.minimum, signed[:-1], np.inf)
    # The end belongs to the next interval; a sloped line comes up to it, a step does not.
    end_usable = usable[path.edges[1:]] & (not grid.stepped)
    at_end = np.where(end_usable, signed[path.edges[1:]], np.inf)
    best = np.minimum(lowest, at_end)
    has_it = usable[:-1] & (signed[:-1] == points.spread(best))
    within = points.count_where(has_it)
    ends_with_it = end_usable & (at_end == best)
    only_end = within == 0
    first = np.where(only_end, path.edges[1:], points.first_where(has_it))
    at_edge = only_end | (first == path.edges[:-1])
    raw = np.where(only_end, path.bounds.raw[1:], path.bounds.raw[:-1])
    missing = only_end & ~ends_with_it
    return Bounded(
        np.where(missing, np.nan, sign * best),
        np.where(only_end, grid.ends_ns - 1, path.time_ns[first]),
        within + ends_with_it > 1,
        at_edge,
        at_edge & ~raw,
        missing,
    )
