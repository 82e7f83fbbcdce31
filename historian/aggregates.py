"""One number an interval, after OPC 10000-13: average, minimum, maximum, count.

Raw-value aggregates only: they look at the samples inside the interval and at nothing outside it.
Source: OPC 10000-13 (v1.05) 5.4.3.6 Average, 5.4.3.11 Minimum, 5.4.3.12 Maximum, 5.4.3.18 Count.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from historian.errors import WrongInput
from historian.frame import Series, Values
from historian.quality import BAD, NO_DATA, Mask, is_bad, is_good

CALCULATED = 0x401
DATA_SUB_NORMAL = 0x40A4_0000


class Aggregate(StrEnum):
    """The aggregates that this release computes, by their OPC UA name."""

    AVERAGE = "Average"
    MINIMUM = "Minimum"
    MAXIMUM = "Maximum"
    COUNT = "Count"


@dataclass(frozen=True, slots=True)
class AggregateRow:
    """One interval's result.

    Attributes:
        time_ns: start of the interval, UTC nanoseconds.
        value: in the tag's unit (Count: samples); NaN when there is none.
        quality: OPC UA StatusCode with its historian bits.
    """

    time_ns: int
    value: float
    quality: int


def aggregate_series(
    series: Series,
    start_ns: int,
    end_ns: int,
    interval_ns: int,
    kind: Aggregate,
) -> list[AggregateRow]:
    """One row an interval over [start, end).

    Only good samples count; others make the row uncertain, and a row without a good one is bad.

    Raises:
        WrongInput: an end before the start, or an interval that is not positive.

    Example:
        >>> s = Series.of([0, 5, 12], [10.0, 20.0, 40.0], 0)
        >>> [r.value for r in aggregate_series(s, 0, 20, 10, Aggregate.AVERAGE)]
        [15.0, 40.0]
    """
    if end_ns <= start_ns or interval_ns <= 0:
        raise WrongInput("an aggregate needs an end after its start and an interval above zero")
    starts = np.arange(start_ns, end_ns, interval_ns, dtype=np.int64)
    ends = np.minimum(starts + interval_ns, end_ns)
    low = np.searchsorted(series.time_ns, starts, side="left")
    high = np.searchsorted(series.time_ns, ends, side="left")
    usable, bad = is_good(series.quality), is_bad(series.quality)
    return [
        _row(int(t), series.value[a:b], usable[a:b], bool(bad[a:b].all()), kind)
        for t, a, b in zip(starts, low, high, strict=True)
    ]


def _row(time_ns: int, value: Values, usable: Mask, all_bad: bool, kind: Aggregate) -> AggregateRow:
    if len(value) == 0:
        return AggregateRow(time_ns, float("nan"), NO_DATA)
    chosen = value[usable]
    quality = CALCULATED if usable.all() else DATA_SUB_NORMAL | CALCULATED
    if kind is Aggregate.COUNT:
        return AggregateRow(
            time_ns, float("nan") if all_bad else float(len(chosen)), BAD if all_bad else quality
        )
    if len(chosen) == 0:
        return AggregateRow(time_ns, float("nan"), NO_DATA)
    if kind is Aggregate.AVERAGE:
        return AggregateRow(time_ns, float(chosen.mean()), quality)
    return AggregateRow(time_ns, float(chosen.min() if kind is Aggregate.MINIMUM else chosen.max()), quality)
