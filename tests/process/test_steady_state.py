"""The test of two variances: noise passes, drifts and steps do not, gaps teach nothing."""

from __future__ import annotations

import numpy as np
import pytest

from process.steady_state import CRITICAL_R_95, SteadyTest


def test_noise_alone_is_steady_for_about_95_percent():
    noise = np.random.default_rng(5).standard_normal(40_000)
    assert SteadyTest().steady_share(noise) == pytest.approx(0.95, abs=0.01)


def test_a_drift_is_seen():
    rng = np.random.default_rng(6)
    drift = rng.standard_normal(400) + 0.5 * np.arange(400)
    assert SteadyTest().steady_share(drift) < 0.05


def test_a_step_is_seen_and_forgotten():
    x = np.random.default_rng(7).standard_normal(600)
    x[300:] += 6
    ratios = SteadyTest().ratios(x)
    assert (ratios[302:310] > SteadyTest().critical).all()
    assert np.median(ratios[400:]) == pytest.approx(1.0, abs=0.2)


def test_unknown_samples_are_passed_over():
    x = np.random.default_rng(8).standard_normal(300)
    gaps = np.insert(x, 150, [np.nan] * 40)
    assert np.isnan(SteadyTest().ratios(gaps)[150:190]).all()
    assert np.array_equal(
        np.delete(SteadyTest().ratios(gaps), range(150, 190)), SteadyTest().ratios(x), equal_nan=True
    )


@pytest.mark.parametrize("x", [[], [1.0], [np.nan] * 90, [3.0] * 90, list(range(20))])
def test_too_little_or_nothing_that_moves_gives_nothing(x: list[float]):
    assert np.isnan(SteadyTest().steady_share(x))


def test_the_usual_critical_value_belongs_to_the_usual_filters():
    usual = SteadyTest()
    factors = (usual.value_factor, usual.scatter_factor, usual.step_factor)
    assert CRITICAL_R_95[factors] == usual.critical
