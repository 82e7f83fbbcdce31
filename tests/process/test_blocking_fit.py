"""The power of the blocking law from saw-teeth: exact ones, noisy ones, and ones that tell nothing."""

from __future__ import annotations

from math import isnan

import numpy as np
import pytest

from process.blocking import Law, growth, power_of
from process.blocking_fit import LEAST_CYCLES, Rise, fit_blocking, possible_laws
from tests.support.saw_teeth import noisy_rises


def exact(law: Law, n: float, to: float, cycles: int = 5, points: int = 100) -> list[Rise]:
    """Each cycle starts with some dirt left and gets dirt at a rate of its own."""
    found = []
    for k in range(cycles):
        s = np.linspace(0.02 * k, to, points)
        found.append(Rise(np.arange(points) * (1 + 0.1 * k), np.array([24 * growth(law, x, n) for x in s])))
    return found


@pytest.mark.parametrize("n", [0.4, 0.5618, 1.0])
@pytest.mark.parametrize(
    ("law", "to"), [(Law.CAKE, 0.9), (Law.INTERMEDIATE, 0.7), (Law.STANDARD, 0.6), (Law.COMPLETE, 0.75)]
)
def test_an_exact_rise_gives_its_power(law: Law, to: float, n: float):
    fit = fit_blocking(exact(law, n, to), n)
    assert fit.why == "" and fit.cycles == 5
    assert fit.power == pytest.approx(power_of(law, n), abs=0.03)


@pytest.mark.parametrize("law", list(Law))
def test_a_noisy_rise_gives_a_power_within_its_interval(law: Law):
    fits = [fit_blocking(noisy_rises(law, 0.5, seed), 0.5) for seed in range(40)]
    held = [fit.low <= power_of(law, 0.5) <= fit.high for fit in fits]
    assert np.mean(held) >= 0.85  # 95 % promised, less what forty runs may miss


def test_more_scatter_of_the_dirt_widens_the_interval():
    calm = fit_blocking(noisy_rises(Law.CAKE, 0.5, 3), 0.5)
    wild = fit_blocking(noisy_rises(Law.CAKE, 0.5, 3, dirt=0.5), 0.5)
    assert wild.high - wild.low > 2 * (calm.high - calm.low)


def test_wildly_uneven_dirt_is_not_told_apart():
    fits = [fit_blocking(noisy_rises(Law.INTERMEDIATE, 0.8, s, cycles=4, dirt=0.9), 0.8) for s in range(12)]
    assert sum(fit.wiping_helps is None for fit in fits) >= 9
    assert not any(fit.wiping_helps is False for fit in fits)


def test_too_few_or_too_low_rises_tell_nothing():
    good = exact(Law.CAKE, 0.5, 0.9)
    few = fit_blocking(good[: LEAST_CYCLES - 1], 0.5)
    assert isnan(few.power) and "3 cycles rise" in few.why and few.law is None and few.wiping_helps is None
    low = [Rise(r.load, 24 + (r.dp_bar - 24) / 4) for r in good]
    assert "0 cycles rise" in fit_blocking(low, 0.5).why
    short = [Rise(r.load[:10], r.dp_bar[:10] * np.linspace(1, 3, 10)) for r in good]
    assert "0 cycles rise" in fit_blocking(short, 0.5).why


def test_unknown_points_are_passed_over():
    rises = exact(Law.STANDARD, 0.5, 0.6)
    holes = []
    for k, rise in enumerate(rises):
        dp = rise.dp_bar.copy()
        dp[10 + k : 40 + k] = np.nan
        holes.append(Rise(rise.load, dp))
    assert fit_blocking(holes, 0.5).power == pytest.approx(power_of(Law.STANDARD, 0.5), abs=0.03)
    dark = [Rise(r.load, np.full(len(r.load), np.nan)) for r in rises]
    assert "0 cycles rise" in fit_blocking(dark, 0.5).why


def test_a_rise_that_stalls_is_like_no_law():
    x = np.linspace(0, 1, 150)
    stall = [Rise(x, 24 + 20 * (1 - np.exp(-(4 + 0.1 * k) * x))) for k in range(6)]
    fit = fit_blocking(stall, 0.5)
    assert fit.possible == () and fit.law is None and fit.wiping_helps is None


def test_a_power_law_exponent_is_needed():
    assert "exponent" in fit_blocking(exact(Law.CAKE, 0.5, 0.9), 0.0).why


@pytest.mark.parametrize(
    ("low", "high", "laws"),
    [
        (-0.2, 0.2, (Law.CAKE,)),
        (0.9, 1.1, (Law.INTERMEDIATE,)),
        (-0.1, 1.1, (Law.CAKE, Law.INTERMEDIATE)),
        (0.4, 0.6, (Law.CAKE, Law.INTERMEDIATE)),
        (1.1, 1.4, (Law.INTERMEDIATE, Law.STANDARD)),
        (0.9, 1.6, (Law.INTERMEDIATE, Law.STANDARD)),
        (1.6, 1.8, (Law.STANDARD, Law.COMPLETE)),
        (-1, 3, tuple(Law)),
        (-2, -0.6, ()),
        (2.6, 4, ()),
    ],
)
def test_which_laws_an_interval_leaves(low: float, high: float, laws: tuple[Law, ...]):
    assert possible_laws(low, high) == laws
