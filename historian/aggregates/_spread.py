"""Variance and standard deviation of the good samples.

Source: OPC 10000-13 5.4.3.37 to 5.4.3.40.
"""

from __future__ import annotations

import numpy as np

from historian.aggregates._codes import IS_GOOD, sub_normal_where
from historian.aggregates._grid import Grid
from historian.aggregates._outcome import Outcome, calculated


def spread(grid: Grid, *, sample: bool, root: bool) -> Outcome:
    """Squared deviations over n, or with ``sample`` over n - 1; with ``root`` the root of that.

    One sample has no spread: zero. Bounding values do not take part.
    """
    good, slices = grid.at_level(IS_GOOD)
    value = grid.value[good][slices.low[0] : slices.high[-1]]
    # Two passes: the sum of squares less the square of the sum loses all digits of a small spread.
    aligned = type(slices)(slices.low - slices.low[0], slices.high - slices.low[0])
    size = np.maximum(slices.count, 1)
    mean = aligned.reduce(np.add, value, 0.0) / size
    squares = aligned.reduce(np.add, (value - aligned.spread(mean)) ** 2, 0.0)
    variance = squares / np.maximum(size - 1, 1) if sample else squares / size
    ignored = grid.inside.count > slices.count
    return calculated(slices.empty, np.sqrt(variance) if root else variance, sub_normal_where(ignored))
