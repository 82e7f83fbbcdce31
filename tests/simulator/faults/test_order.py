from __future__ import annotations

from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.faults import FaultOrder

TIMES = st.floats(0.0, 5000.0)
ORDERS = st.builds(
    FaultOrder,
    st.just("x"),
    st.just("contam_up"),
    st.floats(0.0, 1000.0),
    st.one_of(st.none(), st.floats(1001.0, 3000.0)),
    st.floats(0.0, 900.0),
    st.floats(0.01, 1.0),
)


def test_the_level_ramps_from_onset_to_severity_and_ends() -> None:
    order = FaultOrder("x", "contam_up", 100.0, 300.0, ramp_s=50.0, severity=0.8)
    assert [order.level(s) for s in (99, 100, 125, 150, 299, 300)] == [0.0, 0.0, 0.4, 0.8, 0.8, 0.0]


def test_without_a_ramp_it_is_there_at_once_and_without_an_end_it_stays() -> None:
    order = FaultOrder("x", "plate_open", 100.0, place=2)
    assert [order.level(s) for s in (99, 100, 10**7)] == [0.0, 1.0, 1.0]


@given(ORDERS, TIMES, TIMES, st.sampled_from([0.0, 40.0, 180.0]))
def test_a_level_never_falls_before_its_end_nor_leaves_its_bounds(
    order: FaultOrder, one: float, other: float, lag_s: float
) -> None:
    early, late = sorted((one, other))
    if order.end_s is not None and late >= order.end_s:
        return
    first, second = order.lagged_level(early, lag_s), order.lagged_level(late, lag_s)
    assert -1e-9 <= first <= second + 1e-9
    assert second <= order.severity + 1e-9
    assert second <= order.level(late) + 1e-9


@pytest.mark.parametrize("ramp_s", [0.0, 100.0, 600.0])
def test_a_sluggish_level_is_what_small_steps_of_a_lag_give(ramp_s: float) -> None:
    order = FaultOrder("x", "thinner_melt", 50.0, 700.0, ramp_s=ramp_s, severity=0.7)
    lag_s, step_s, value = 180.0, 0.5, 0.0
    keep = exp(-step_s / lag_s)
    for k in range(2800):
        middle = (k + 0.5) * step_s
        value = order.level(middle) + (value - order.level(middle)) * keep
        assert order.lagged_level((k + 1) * step_s, lag_s) == pytest.approx(value, abs=1e-3)


def test_a_sluggish_level_dies_away_and_is_gone_at_last() -> None:
    order = FaultOrder("x", "thinner_melt", 0.0, 1000.0)
    assert order.lagged_level(1180.0, 180.0) == pytest.approx(exp(-1.0) * (1.0 - exp(-1000 / 180)))
    assert order.lagged_level(1000.0 + 180.0 * 8.0, 180.0) == 0.0
