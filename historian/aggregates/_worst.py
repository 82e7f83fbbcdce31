"""The worst quality in an interval, as a value.

Source: OPC 10000-13 5.4.3.35 and 5.4.3.36.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from historian.aggregates._bounds import simple_bounds
from historian.aggregates._codes import CALCULATED, CODE_MASK, MULTIPLE_VALUES, flag
from historian.aggregates._grid import Grid
from historian.aggregates._outcome import Outcome, no_data_where
from historian.frame import Qualities
from historian.quality import is_bad, is_uncertain

_NONE = -1


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst quality among some points of each interval.

    Attributes:
        severity: 0 good, 1 uncertain, 2 bad, -1 where there are no points, shape (intervals,).
        code: StatusCode of the first point that is that bad, shape (intervals,).
        number: how many points are that bad, shape (intervals,).
    """

    severity: NDArray[np.int64]
    code: Qualities
    number: NDArray[np.int64]


def worst_quality(grid: Grid) -> Outcome:
    """The worst StatusCode of the samples: of several equally bad ones the first."""
    return _told(_of_samples(grid))


def worst_quality_2(grid: Grid) -> Outcome:
    """The same with the simple bounding value at the start; what is uncertain stays so."""
    samples = _of_samples(grid)
    start = simple_bounds(grid.uncertain_kept(), grid.starts_ns)
    # A sample on the start is the bounding value, and is among the samples already.
    upto = np.searchsorted(grid.time_ns, grid.starts_ns, side="right")
    lone = upto == grid.inside.low
    severity = np.where(lone, start.level.astype(np.int64), _NONE)
    worst = np.maximum(samples.severity, severity)
    code = np.where(severity == worst, start.code, samples.code)
    number = np.where(samples.severity == worst, samples.number, 0) + (severity == worst)
    return _told(Worst(worst, code, number))


def _of_samples(grid: Grid) -> Worst:
    inside = grid.inside
    severity = is_uncertain(grid.quality).astype(np.int64)
    severity[is_bad(grid.quality)] = 2
    worst = inside.reduce(np.maximum, severity, _NONE)
    has_it = severity[inside.low[0] : inside.high[-1]] == inside.spread(worst)
    filled = ~inside.empty
    code = np.zeros(len(worst), dtype=np.uint32)
    code[filled] = grid.quality[inside.first_where(has_it)[filled]] & np.uint32(CODE_MASK)
    return Worst(worst, code, inside.count_where(has_it))


def _told(worst: Worst) -> Outcome:
    # Several good ones are not several worst ones: the rows of annex A carry no such mark.
    several = (worst.number > 1) & (worst.severity > 0)
    quality = np.full(len(several), CALCULATED, dtype=np.uint32) | flag(MULTIPLE_VALUES, several)
    return no_data_where(worst.severity == _NONE, worst.code.astype(np.float64), quality)
