"""From samples and a name to one row an interval."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from historian.aggregates import _bounded, _extremes, _raw, _spread, _timed, _worst
from historian.aggregates._codes import IS_BAD, IS_GOOD, PARTIAL, flag
from historian.aggregates._config import AggregateConfig
from historian.aggregates._grid import Grid
from historian.aggregates._kinds import Aggregate, AggregateRow
from historian.aggregates._outcome import Outcome
from historian.frame import Series
from historian.quality import NO_DATA

_A = Aggregate

_RULES: Final[dict[Aggregate, Callable[[Grid], Outcome]]] = {
    _A.INTERPOLATIVE: _timed.interpolative,
    _A.AVERAGE: _raw.average,
    _A.TIME_AVERAGE: partial(_timed.time_average, total=False),
    _A.TIME_AVERAGE_2: partial(_timed.time_average_2, total=False),
    _A.TOTAL: partial(_timed.time_average, total=True),
    _A.TOTAL_2: partial(_timed.time_average_2, total=True),
    _A.MINIMUM: partial(_extremes.extreme, sign=1.0, own_time=False),
    _A.MAXIMUM: partial(_extremes.extreme, sign=-1.0, own_time=False),
    _A.MINIMUM_ACTUAL_TIME: partial(_extremes.extreme, sign=1.0, own_time=True),
    _A.MAXIMUM_ACTUAL_TIME: partial(_extremes.extreme, sign=-1.0, own_time=True),
    _A.RANGE: _raw.value_range,
    _A.MINIMUM_2: partial(_bounded.bounded_extreme, sign=1.0, own_time=False),
    _A.MAXIMUM_2: partial(_bounded.bounded_extreme, sign=-1.0, own_time=False),
    _A.MINIMUM_ACTUAL_TIME_2: partial(_bounded.bounded_extreme, sign=1.0, own_time=True),
    _A.MAXIMUM_ACTUAL_TIME_2: partial(_bounded.bounded_extreme, sign=-1.0, own_time=True),
    _A.RANGE_2: _bounded.bounded_range,
    _A.COUNT: _raw.count,
    _A.DURATION_IN_STATE_ZERO: partial(_timed.duration_in_state, zero=True),
    _A.DURATION_IN_STATE_NON_ZERO: partial(_timed.duration_in_state, zero=False),
    _A.NUMBER_OF_TRANSITIONS: _raw.number_of_transitions,
    _A.START: _raw.start,
    _A.END: _raw.end,
    _A.DELTA: _raw.delta,
    _A.START_BOUND: _timed.start_bound,
    _A.END_BOUND: _timed.end_bound,
    _A.DELTA_BOUNDS: _timed.delta_bounds,
    _A.DURATION_GOOD: partial(_timed.duration_of_level, level=IS_GOOD, percent=False),
    _A.DURATION_BAD: partial(_timed.duration_of_level, level=IS_BAD, percent=False),
    _A.PERCENT_GOOD: partial(_timed.duration_of_level, level=IS_GOOD, percent=True),
    _A.PERCENT_BAD: partial(_timed.duration_of_level, level=IS_BAD, percent=True),
    _A.WORST_QUALITY: _worst.worst_quality,
    _A.WORST_QUALITY_2: _worst.worst_quality_2,
    _A.STANDARD_DEVIATION_SAMPLE: partial(_spread.spread, sample=True, root=True),
    _A.VARIANCE_SAMPLE: partial(_spread.spread, sample=True, root=False),
    _A.STANDARD_DEVIATION_POPULATION: partial(_spread.spread, sample=False, root=True),
    _A.VARIANCE_POPULATION: partial(_spread.spread, sample=False, root=False),
}
_EXTRAPOLATED: Final = frozenset({_A.INTERPOLATIVE, _A.TIME_AVERAGE, _A.TOTAL})
_NEVER_PARTIAL: Final = frozenset({_A.INTERPOLATIVE, _A.AVERAGE})

STANDARD: Final = AggregateConfig()


def aggregate_columns(
    series: Series,
    start_ns: int,
    end_ns: int,
    interval_ns: int,
    kind: Aggregate,
    *,
    config: AggregateConfig = STANDARD,
    stepped: bool = False,
    annotations_ns: ArrayLike = (),
) -> Series:
    """One result an interval over [start, end), in columns; see ``aggregate_series``.

    Returns:
        time, value and quality of each interval, shape (intervals,); what they mean says ``AggregateRow``.
    """
    grid = Grid.of(series, start_ns, end_ns, interval_ns, config, stepped)
    if kind is Aggregate.ANNOTATION_COUNT:
        outcome = _raw.annotation_count(grid, np.asarray(annotations_ns, dtype=np.int64))
    else:
        outcome = _RULES[kind](grid)
    outside = grid.before_data()
    if kind not in _EXTRAPOLATED:
        outside |= grid.after_data()
    time_ns = grid.starts_ns if outcome.time_ns is None else outcome.time_ns
    quality = np.where(outside, np.uint32(NO_DATA), outcome.quality)
    if kind not in _NEVER_PARTIAL:
        quality |= flag(PARTIAL, grid.partial())
    return Series(
        np.where(outside, grid.starts_ns, time_ns),
        np.where(outside, np.nan, outcome.value),
        quality,
    )


def aggregate_series(
    series: Series,
    start_ns: int,
    end_ns: int,
    interval_ns: int,
    kind: Aggregate,
    *,
    config: AggregateConfig = STANDARD,
    stepped: bool = False,
    annotations_ns: ArrayLike = (),
) -> list[AggregateRow]:
    """One row an interval over [start, end).

    Args:
        series: one tag's samples in any order, with the last before the start and the first from the end on:
            bounding values are looked for in it. Its first and last sample are the limits of the data; an
            interval that holds one is marked Partial.
        interval_ns: length of an interval in nanoseconds; the last one takes what is left.
        stepped: values hold until the next sample (states, set-points) instead of running to it in a line.
        annotations_ns: times of the annotations, for AnnotationCount only.

    Raises:
        WrongInput: an end before the start, or an interval that is not positive.

    Example:
        >>> s = Series.of([0, 5, 12], [10.0, 20.0, 40.0], 0)
        >>> [r.value for r in aggregate_series(s, 0, 20, 10, Aggregate.AVERAGE)]
        [15.0, 40.0]
        >>> [r.value for r in aggregate_series(s, 0, 10, 10, Aggregate.TIME_AVERAGE_2, stepped=True)]
        [15.0]

    Source: OPC 10000-13 (v1.05) 5.4.
    """
    asked = (series, start_ns, end_ns, interval_ns, kind)
    found = aggregate_columns(*asked, config=config, stepped=stepped, annotations_ns=annotations_ns)
    columns = (found.time_ns.tolist(), found.value.tolist(), found.quality.tolist())
    return [AggregateRow(*row) for row in zip(*columns, strict=True)]
