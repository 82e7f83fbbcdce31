"""Robust slopes and scatter: exact on the worked example, equal to scipy where scipy has the same."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from process.statistics import (
    Slope,
    least_squares,
    median_and_sigma,
    median_of_columns,
    slopes_of_columns,
    theil_sen,
)

finite = st.floats(-1e6, 1e6)


def test_the_slope_between_wild_samples_is_exact():
    x = np.arange(0, 121, 10.0)
    y = 33 + 0.082 * x
    y[4] += 0.5
    y[7] -= 0.6
    y[10] += 0.3
    slope = theil_sen(x, y)
    assert slope.value == pytest.approx(0.0820, abs=1e-12)
    assert slope.low <= slope.value <= slope.high and slope.points == 13


def test_a_straight_line_has_no_width():
    slope = theil_sen([0, 1, 2, 5], [1, 3, 5, 11])
    assert (slope.value, slope.low, slope.high) == (2, 2, 2)


def test_unknown_points_are_passed_over():
    x, y = [0, 1, 2, 3, np.nan], [0.0, np.nan, 4.0, 6.0, 1.0]
    assert theil_sen(x, y) == theil_sen([0, 2, 3], [0, 4, 6])


@pytest.mark.parametrize("x", [[], [1.0], [2.0, 2.0, 2.0]])
def test_too_few_points_give_no_slope(x: list[float]):
    slope = theil_sen(x, x)
    assert np.isnan(slope.value) and np.isnan(slope.low) and not slope.is_rising
    assert np.isnan(least_squares(x, x)[1])


def test_columns_of_other_lengths_are_refused():
    with pytest.raises(ValueError, match="one length"):
        theil_sen([1, 2], [1])


def test_the_interval_covers_the_true_slope_about_as_often_as_it_says():
    chance = np.random.default_rng(5)
    x = np.arange(10.0)
    inside = 0
    for _ in range(400):
        slope = theil_sen(x, 0.3 * x + chance.standard_normal(10), 0.95)
        inside += slope.low <= 0.3 <= slope.high
    assert 0.90 <= inside / 400 <= 0.99


@given(st.lists(st.integers(-1000, 1000), min_size=3, max_size=15), st.integers(1, 9), st.integers(-50, 50))
def test_scaling_and_shifting_y_scales_the_slope(y: list[int], factor: int, offset: int):
    x = np.arange(len(y))
    before, after = theil_sen(x, y), theil_sen(x, np.asarray(y) * factor + offset)
    np.testing.assert_allclose(
        [after.value, after.low, after.high],
        np.array([before.value, before.low, before.high]) * factor,
        atol=1e-6,
    )


@given(st.lists(st.one_of(finite, st.just(np.nan)), min_size=1, max_size=30))
def test_medians_of_columns_are_those_of_numpy(values: list[float]):
    known = [v for v in values if not np.isnan(v)]
    column = np.asarray(values)[:, None]
    expected = np.median(known) if known else np.nan
    np.testing.assert_allclose(median_of_columns(column), [expected])
    middle, sigma = median_and_sigma(values)
    np.testing.assert_allclose(middle, expected)
    if known:
        assert sigma == pytest.approx(1.4826 * float(np.median(np.abs(np.asarray(known) - expected))))


def test_a_table_without_rows_has_no_medians():
    assert np.isnan(median_of_columns(np.empty((0, 3)))).all()


@given(st.data())
def test_slopes_of_columns_are_those_of_polyfit(data: st.DataObject):
    n = data.draw(st.integers(3, 20))
    y = np.asarray(data.draw(st.lists(st.floats(-100, 100), min_size=n, max_size=n)))
    gone = np.asarray(data.draw(st.lists(st.booleans(), min_size=n, max_size=n)))
    assume((~gone).sum() >= 3)
    x = np.arange(n, dtype=np.float64)
    table = np.stack([np.where(gone, np.nan, y), y], axis=1)
    slopes = slopes_of_columns(x, table, least_points=3)
    assert slopes[0] == pytest.approx(np.polyfit(x[~gone], y[~gone], 1)[0], abs=1e-7)
    assert slopes[1] == pytest.approx(np.polyfit(x, y, 1)[0], abs=1e-7)
    assert np.isnan(slopes_of_columns(x, table, least_points=n + 1)).all()


def test_rising_means_the_whole_interval_is_above_zero():
    assert Slope(1.0, 0.1, 2.0, 9).is_rising
    assert not Slope(1.0, -0.1, 2.0, 9).is_rising
    assert Slope(1.0, 0.5, 2.0, 9).scaled(60) == Slope(60.0, 30.0, 120.0, 9)
