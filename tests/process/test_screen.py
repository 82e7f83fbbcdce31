"""The pressure index and the forecast: worked examples, and what they refuse."""

from __future__ import annotations

from math import isnan, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from process.rheology import shift_factor
from process.screen import normalised_dp_bar, pressure_index, time_to_limit
from process.statistics import Slope


def test_a_stiffer_melt_leaves_the_index():
    assert pressure_index(31, 59) == pytest.approx(52.5, abs=0.05)
    assert pressure_index(38, 72) == pytest.approx(52.8, abs=0.05)


@pytest.mark.parametrize(("dp", "die"), [(nan, 60), (30, nan), (30, 4.9), (30, 0), (30, -3)])
def test_no_index_without_pressure_at_the_die(dp: float, die: float):
    assert isnan(pressure_index(dp, die))


def test_pressure_at_the_reference_flow_and_temperature():
    shift = shift_factor(228, 222, 45_000)
    assert shift == pytest.approx(0.8773, abs=5e-5)
    assert normalised_dp_bar(38, 700, 780, shift, 0.5618) == pytest.approx(43.46, abs=0.005)
    assert isnan(normalised_dp_bar(38, 0, 780, shift, 0.5618))


@given(st.floats(1, 100), st.floats(100, 2000), st.floats(0.2, 0.9))
def test_normalising_to_what_it_was_changes_nothing(dp: float, flow: float, exponent: float):
    assert normalised_dp_bar(dp, flow, flow, 1.0, exponent) == pytest.approx(dp)


def test_time_to_the_limit_with_its_range():
    half = 2.201 * 0.00186
    forecast = time_to_limit(42.84, 45, Slope(0.08178, 0.08178 - half, 0.08178 + half, 13))
    assert forecast is not None
    assert forecast.after_s == pytest.approx(26.4, abs=0.05)
    assert forecast.earliest_s == pytest.approx(25.1, abs=0.1)
    assert forecast.latest_s == pytest.approx(27.8, abs=0.1)


@pytest.mark.parametrize(
    "slope", [Slope(0.1, -0.01, 0.2, 9), Slope(-0.1, -0.2, -0.05, 9), Slope(nan, nan, nan, 1)]
)
def test_no_forecast_while_it_is_not_sure_to_rise(slope: Slope):
    assert time_to_limit(40, 45, slope) is None
    assert time_to_limit(nan, 45, Slope(0.1, 0.05, 0.2, 9)) is None


def test_the_forecast_ends_at_a_day_and_begins_at_nothing():
    slow = time_to_limit(0, 45, Slope(1e-6, 1e-7, 2e-6, 9))
    there = time_to_limit(46, 45, Slope(0.1, 0.05, 0.2, 9))
    assert slow is not None and slow.after_s == 86_400
    assert there is not None and there.after_s == there.latest_s == 0
