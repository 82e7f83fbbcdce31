"""One number an interval; what an interval does not have is said, not invented."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.aggregates import Aggregate, aggregate_series
from historian.errors import WrongInput
from historian.frame import Series
from historian.quality import NO_DATA


@given(
    st.lists(
        st.tuples(st.integers(0, 999), st.floats(-1e6, 1e6)),
        min_size=1,
        max_size=60,
        unique_by=lambda s: s[0],
    )
)
def test_against_plain_numpy(rows: list[tuple[int, float]]) -> None:
    rows.sort()
    time_ns, value = np.array([r[0] for r in rows]), np.array([r[1] for r in rows])
    for kind, reduce in (
        (Aggregate.AVERAGE, np.mean),
        (Aggregate.MINIMUM, np.min),
        (Aggregate.MAXIMUM, np.max),
    ):
        for row in aggregate_series(Series.of(time_ns, value, 0), 0, 1000, 100, kind):
            inside = value[(time_ns >= row.time_ns) & (time_ns < row.time_ns + 100)]
            if len(inside):
                assert row.value == pytest.approx(reduce(inside))
            else:
                assert math.isnan(row.value)
                assert row.quality == NO_DATA


def test_bad_samples_do_not_count_and_are_told() -> None:
    rows = aggregate_series(
        Series.of([0, 1, 2], [1.0, math.nan, 3.0], [0, NO_DATA, 0]), 0, 10, 10, Aggregate.AVERAGE
    )
    assert rows[0].value == 2.0
    assert rows[0].quality >> 30 == 1  # uncertain


def test_no_interval_is_refused() -> None:
    with pytest.raises(WrongInput):
        aggregate_series(Series.empty(), 0, 10, 0, Aggregate.COUNT)
