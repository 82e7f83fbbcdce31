"""Few points in place of many, so that no peak and no gap is lost: least and most of each pixel column.

Pure.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

COLUMNS: Final = 1000
"""Pixel columns that are told apart: 0.17 mm each on a page."""


def thinned(
    time_ns: NDArray[np.int64],
    value: NDArray[np.float64],
    start_ns: int,
    end_ns: int,
    hold_s: float,
    columns: int = COLUMNS,
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """At most two points a column, and one NaN where a gap begins.

    Args:
        time_ns: rising, shape (n,).
        value: shape (n,), NaN where it is not known.
        start_ns, end_ns: what is shown, end excluded.
        hold_s: a longer pause from one sample to the next is a gap.

    Returns:
        Times and values, each shape (m,).
    """
    first, last = np.searchsorted(time_ns, [start_ns, end_ns])
    time_ns, value = time_ns[first:last], value[first:last]
    known = ~np.isnan(value)
    if not known.any():
        return np.empty(0, np.int64), np.empty(0)
    dark = ~known[:-1] | ~known[1:] | (np.diff(time_ns) > round(hold_s * 1e9))
    ends = np.flatnonzero(dark & known[:-1])  # the last known sample before each gap
    at = np.flatnonzero(known)
    # In whole columns: the product of two such numbers would run over.
    width_ns = max((end_ns - start_ns) // columns, 1)
    column = (time_ns - start_ns) // width_ns
    if len(at) > 2 * columns:
        order = at[np.lexsort((value[at], column[at]))]
        edge = np.flatnonzero(np.diff(column[order])) + 1
        lowest = order[np.concatenate([[0], edge])]
        highest = order[np.concatenate([edge - 1, [len(order) - 1]])]
        at = np.unique(np.concatenate([lowest, highest]))
    _, one_a_column = np.unique(column[ends][::-1], return_index=True)
    ends = ends[::-1][one_a_column]
    times = np.concatenate([time_ns[at], time_ns[ends] + 1])
    values = np.concatenate([value[at], np.full(len(ends), np.nan)])
    order = np.argsort(times, kind="stable")
    return times[order], values[order]
