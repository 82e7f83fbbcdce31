"""Viscosity falls with temperature and shear rate as the closed forms say."""

from __future__ import annotations

import pytest

from process.rheology import power_law_pa_s, shift_factor


def test_the_reference_temperature_shifts_nothing():
    assert shift_factor(220, 220, 45_000) == 1


def test_a_warmer_melt_is_thinner():
    assert shift_factor(222, 190, 45_000) == pytest.approx(0.4699, abs=5e-5)


def test_at_an_imposed_shear_rate_the_shift_counts_with_the_exponent():
    cold, warm = power_law_pa_s(1e4, 0.5, 100), power_law_pa_s(1e4, 0.5, 100, shift=0.64)
    assert warm / cold == pytest.approx(0.8)


def test_the_worked_example_of_a_screen():
    viscosity = power_law_pa_s(11_194, 0.5618, 1808, shift=0.4699)
    assert viscosity == pytest.approx(273.8, rel=2e-3)
