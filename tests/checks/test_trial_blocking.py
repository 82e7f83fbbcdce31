"""Blocking laws against Hermia's closed forms, and how often they are told from noisy cycles."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from process.blocking import Law, growth, power_of
from process.blocking_fit import Rise, fit_blocking
from process.statistics import least_squares
from tests.support.saw_teeth import noisy_rises

CHECKS = Path(__file__).resolve().parents[2].parent / "shared" / "checks"
POWERS = {"2": Law.COMPLETE, "1.5": Law.STANDARD, "1": Law.INTERMEDIATE, "0": Law.CAKE}


def check_values() -> dict:  # type: ignore[type-arg]
    path = CHECKS / "rheo_filtration.json"
    if not path.exists():
        pytest.skip("the folder of check values is not there")
    values: dict = json.loads(path.read_text(encoding="utf-8"))  # type: ignore[type-arg]
    return values


@pytest.mark.shared
def test_the_closed_forms_at_constant_rate():
    """Integrals of dP/dt = k P (P/p0)^(m-1), worked out apart by a solver of differential equations."""
    table = check_values()["hermia"]["const_rate"]
    for power, law in POWERS.items():
        assert power_of(law) == float(power)
        ours = [table["p0"] * growth(law, table["k"] * t) for t in table["t"]]
        assert ours == pytest.approx(table["P"][power], rel=1e-9)


@pytest.mark.shared
def test_the_fit_finds_the_power_of_the_tabulated_rises():
    """The same integrals, carried on to where the pressure has risen by half, through the regression."""
    table = check_values()["hermia"]["const_rate"]
    for power, law in POWERS.items():
        t = np.linspace(0, 600, 121)
        dp = table["p0"] * np.array([growth(law, table["k"] * x) for x in t])
        fit = fit_blocking([Rise(t, dp)] * 4)
        assert fit.power == pytest.approx(float(power), abs=0.03) and law in fit.possible


@pytest.mark.shared
def test_cake_filtration_data_by_least_squares():
    """Ruth's equation, t/V = slope V + intercept: published filtrations of three textbooks."""
    for one in check_values()["ruth"]:
        v, t = np.array(one["V"]), np.array(one["t"])
        intercept, slope = least_squares(v, t / v)
        alpha = slope * 2 * one["A"] ** 2 * one["dp_Pa"] / (one["mu"] * one["cs"])
        medium = intercept * one["A"] * one["dp_Pa"] / one["mu"]
        # One of the three was fitted by eye there.
        assert alpha == pytest.approx(one["published"]["alpha"], rel=0.06)
        assert medium == pytest.approx(one["published"]["Rm"], rel=0.06)


def told(runs: int, law: Law, exponent: float) -> Counter[bool | None]:
    """How often the dirt was said to lie on the screen, in the holes, or neither."""
    fits = [fit_blocking(noisy_rises(law, exponent, seed), exponent) for seed in range(runs)]
    return Counter(fit.wiping_helps for fit in fits)


def judge(runs: int, exponent: float) -> None:
    """Ten cycles: in nine runs of ten the right pair of laws, in the others "not told apart", hardly ever the
    wrong pair.
    """
    for law in Law:
        count = told(runs, law, exponent)
        assert count[law.wiping_helps] >= 0.9 * runs, (law, count)
        assert count[not law.wiping_helps] <= 0.02 * runs, (law, count)


@pytest.mark.parametrize("exponent", [0.4, 0.5618])
def test_the_laws_are_told_apart_in_twenty_runs(exponent: float):
    """Noise as on a line (see ``tests.support.saw_teeth``); n of polypropylene and of polyethylene film."""
    judge(20, exponent)


@pytest.mark.long
@pytest.mark.timeout(300)
@pytest.mark.parametrize("exponent", [0.35, 0.4, 0.5618, 0.7])
def test_the_laws_are_told_apart_in_two_hundred_runs(exponent: float):
    """The long form."""
    judge(200, exponent)
