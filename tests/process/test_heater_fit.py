"""The fitted thermal model: learns what made the rates, is not misled by a fault, and is JSON in between."""

from __future__ import annotations

import json

import numpy as np
import pytest

from process.heater_fit import HeaterFit, Prior

PRIOR = Prior(full_k_min=5.3, hall_per_min=0.009, neighbour_per_min=0.013, melt_per_min=0.018)
TRUE = np.asarray([6.4, 0.0075, 0.016, 0.02])


def teach(fit: HeaterFit, lessons: int, seed: int = 3, power: float = 1.0) -> None:
    """Lessons with all that can differ, in one zone, with a little noise."""
    chance = np.random.default_rng(seed)
    for _ in range(lessons):
        share, hall, apart, melt = chance.uniform(0, 1), -chance.uniform(20, 200), *chance.normal(0, 15, 2)
        rate = float(TRUE @ [power * share, hall, apart, melt]) + 0.05 * chance.standard_normal()
        fit.take(*(np.asarray([v]) for v in (rate, share, hall, apart, melt)))


def test_it_learns_what_made_the_rates():
    fit = HeaterFit(PRIOR, 1)
    teach(fit, 300)
    assert fit.numbers[0] == pytest.approx(TRUE, rel=0.03)


def test_what_was_never_excited_stays_as_is_usual():
    fit = HeaterFit(PRIOR, 1)
    for share in np.linspace(0, 1, 40):
        fit.take(*(np.asarray([v]) for v in (6.4 * share - 1.0, share, -1.0 / 0.009, 0.0, 0.0)))
    assert fit.numbers[0, 2:] == pytest.approx([0.013, 0.018])


def test_a_heater_that_burns_out_does_not_teach_that_there_is_no_power():
    fit = HeaterFit(PRIOR, 1)
    teach(fit, 300)
    before = fit.numbers.copy()
    for _ in range(60):
        fit.take(*(np.asarray([v]) for v in (-1.5, 1.0, -190.0, 0.0, 0.0)))
    assert fit.numbers == pytest.approx(before)


def test_an_unknown_value_teaches_nothing():
    fit = HeaterFit(PRIOR, 2)
    nan = np.asarray([np.nan, np.nan])
    fit.take(nan, *(np.ones(2),) * 4)
    assert fit.numbers[0] == pytest.approx(PRIOR.numbers())


def test_the_asymptote_is_the_mean_of_what_surrounds_it():
    fit = HeaterFit(PRIOR, 1)
    expected = (0.009 * 22 + 0.026 * 220 + 0.018 * 222) / (0.009 + 0.026 + 0.018)
    assert fit.asymptote_cel(0, 22.0, [220.0, 220.0], 222.0) == pytest.approx(expected)
    dry = (0.009 * 22 + 0.026 * 220) / (0.009 + 0.026)
    assert fit.asymptote_cel(0, 22.0, [220.0, 220.0], float("nan")) == pytest.approx(dry)


def test_a_restart_changes_nothing():
    one, two = HeaterFit(PRIOR, 1), HeaterFit(PRIOR, 1)
    teach(one, 40)
    two.restore(json.loads(json.dumps(one.save())))
    teach(one, 10, seed=9)
    teach(two, 10, seed=9)
    assert one.numbers.tolist() == two.numbers.tolist()
