"""Slopes against other people's programs and printed numbers."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from process.statistics import least_squares, theil_sen

CHECKS = Path(__file__).resolve().parents[2].parent / "shared" / "checks"


@given(st.lists(st.floats(-1e3, 1e3), min_size=4, max_size=25))
def test_the_slope_is_that_of_scipy(y: list[float]):
    """scipy.stats.theilslopes (BSD): the same median; its bounds are the neighbouring pair slopes."""
    x = np.arange(len(y), dtype=np.float64)
    ours, theirs = theil_sen(x, y, 0.95), theilslopes(y, x, 0.95)
    assert ours.value == pytest.approx(theirs[0], abs=1e-9)
    slopes = np.sort([(y[j] - y[i]) / (j - i) for i in range(len(y)) for j in range(i + 1, len(y))])
    for bound, other in ((ours.low, theirs[2]), (ours.high, theirs[3])):
        first, last = np.searchsorted(slopes, [other - 1e-9, other + 1e-9])
        assert slopes[max(first - 2, 0)] - 1e-9 <= bound <= slopes[min(last + 1, len(slopes) - 1)] + 1e-9


def test_gilberts_example_of_sens_slope():
    """R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring (1987), p. 212: 22 values.

    Slope 0.6667 a step; the bounds after his 16.5 (interpolated ranks, ties corrected).
    """
    values = [20, 20, 20, 20, 15, 20, 20, 30, 27, 26, 23, 35, 25, 28, 70, 26, 24, 34, 32, 23, 50, 30]
    slope = theil_sen(range(22), values, 0.95)
    assert slope.value == pytest.approx(0.6667, abs=5e-5)
    assert slope.low == pytest.approx(0.25303, abs=5e-5)
    assert slope.high == pytest.approx(1.13961, abs=5e-5)


@pytest.mark.shared
def test_gilberts_example_as_kept_with_the_check_values():
    """The same data and bounds as in the table of check values, with full digits."""
    path = CHECKS / "stats_checks.json"
    if not path.exists():
        pytest.skip("the folder of check values is not there")
    check = json.loads(path.read_text(encoding="utf-8"))["gilbert_p212"]
    slope = theil_sen(range(check["n"]), check["x"], 0.95)
    assert [slope.value, slope.low, slope.high] == pytest.approx(
        [check["sen"], check["lo"], check["hi"]], rel=1e-9
    )


@pytest.mark.shared
def test_least_squares_on_certified_data():
    """NIST Statistical Reference Datasets, linear regression, Norris: certified B0 and B1."""
    path = CHECKS / "nist_norris.csv"
    if not path.exists():
        pytest.skip("the folder of check values is not there")
    rows = np.genfromtxt(path, delimiter=",", names=True, comments="#")
    intercept, slope = least_squares(rows["x"], rows["y"])
    assert intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert slope == pytest.approx(1.00211681802045, rel=1e-12)
