"""Aggregates that weigh values by how long they held, and the values at the edges themselves."""

from __future__ import annotations

import numpy as np

from historian.aggregates._bounds import Bounds, interpolated_bounds, simple_bounds
from historian.aggregates._codes import (
    CALCULATED,
    INTERPOLATED,
    IS_BAD,
    IS_GOOD,
    code_of,
    flag,
    sub_normal_where,
)
from historian.aggregates._grid import Grid
from historian.aggregates._outcome import Outcome, calculated, no_data_where
from historian.aggregates._path import interpolated_path, regions, simple_path


def interpolative(grid: Grid) -> Outcome:
    """The interpolated bounding value at the start of each interval.

    Source: OPC 10000-13 5.4.3.4.
    """
    return _bound(interpolated_bounds(grid, grid.starts_ns, stepped=grid.stepped))


def time_average(grid: Grid, *, total: bool) -> Outcome:
    """TimeAverage, or with ``total`` Total: along sloped lines between the samples that are not bad.

    Where the data begin inside the interval only the part from there on counts, and the result is uncertain.
    Total is the area that was seen: no part without data is filled with the average of the rest.

    Source: OPC 10000-13 5.4.3.6 and 5.4.3.8.
    """
    parts = regions(interpolated_path(grid), stepped=False)
    shares = parts.shares()
    seen_ns = shares.good + shares.uncertain
    uncertain = (shares.uncertain > 0) | (shares.bad > 0) | ~grid.at_level(IS_BAD)[1].empty
    area = parts.area()
    value = area * 1e-9 if total else area / np.maximum(seen_ns, 1)
    return calculated(seen_ns == 0, value, sub_normal_where(uncertain))


def time_average_2(grid: Grid, *, total: bool) -> Outcome:
    """TimeAverage2, or with ``total`` Total2: over the time that is not bad, sloped or stepped.

    Source: OPC 10000-13 5.4.3.7 and 5.4.3.9.
    """
    parts = regions(simple_path(grid), stepped=grid.stepped)
    shares = parts.shares()
    seen_ns = shares.good + shares.uncertain
    area = parts.area()
    value = area * 1e-9 if total else area / np.maximum(seen_ns, 1)
    return calculated(seen_ns == 0, value, shares.code(grid.config))


def start_bound(grid: Grid) -> Outcome:
    """The simple bounding value at the start.

    Source: OPC 10000-13 5.4.3.28.
    """
    return _bound(simple_bounds(grid, grid.starts_ns))


def end_bound(grid: Grid) -> Outcome:
    """The simple bounding value at the end, marked Calculated.

    Source: OPC 10000-13 5.4.3.29.
    """
    bounds = simple_bounds(grid, grid.ends_ns)
    return no_data_where(bounds.level == IS_BAD, bounds.value, bounds.code | np.uint32(CALCULATED))


def delta_bounds(grid: Grid) -> Outcome:
    """The value at the end less that at the start.

    Source: OPC 10000-13 5.4.3.30.
    """
    bounds = simple_bounds(grid, grid.edges_ns)
    worse = np.maximum(bounds.level[:-1], bounds.level[1:])
    return calculated(worse == IS_BAD, bounds.value[1:] - bounds.value[:-1], code_of(worse))


def duration_in_state(grid: Grid, *, zero: bool) -> Outcome:
    """Milliseconds in which the value was good and zero, or with ``zero`` False good and not zero.

    Source: OPC 10000-13 5.4.3.22 and 5.4.3.23.
    """
    parts = regions(simple_path(grid), stepped=True)
    wanted = (parts.level == IS_GOOD) & ((parts.mean == 0.0) == zero)
    never = np.zeros(len(grid.starts_ns), dtype=np.bool_)
    return calculated(never, parts.time_where(wanted) * 1e-6, parts.shares().code(grid.config))


def duration_of_level(grid: Grid, level: int, *, percent: bool) -> Outcome:
    """Milliseconds that are good, or bad; with ``percent`` as a share of the interval.

    A stretch is as good as the point that begins it. The first takes the status of the simple bounding value,
    as the table of characteristics and the rows of annex A have it; the text of 5.4.3.31 speaks of the sample
    before.

    Source: OPC 10000-13 5.4.3.31 to 5.4.3.34.
    """
    parts = regions(simple_path(grid), stepped=True)
    time_ns = parts.time_where(parts.level == level)
    value = time_ns * 100.0 / (grid.ends_ns - grid.starts_ns) if percent else time_ns * 1e-6
    never = np.zeros(len(grid.starts_ns), dtype=np.bool_)
    return calculated(never, value, sub_normal_where(never))


def _bound(bounds: Bounds) -> Outcome:
    missing = bounds.level == IS_BAD
    return no_data_where(missing, bounds.value, bounds.code | flag(INTERPOLATED, ~bounds.raw))
