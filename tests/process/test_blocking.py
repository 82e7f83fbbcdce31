"""The four blocking laws at constant flow, by their closed forms and by their differential equation."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from process.blocking import Law, growth, power_of


@pytest.mark.parametrize(
    ("law", "bar"), [(Law.CAKE, 33.0), (Law.INTERMEDIATE, 36.27), (Law.STANDARD, 39.11), (Law.COMPLETE, 44.0)]
)
def test_the_worked_example(law: Law, bar: float):
    """s = 0.5 from 22 bar."""
    assert 22 * growth(law, 0.5) == pytest.approx(bar, abs=5e-3)


def test_the_powers_of_a_newtonian_melt_are_hermias():
    assert [power_of(law) for law in Law] == [0.0, 1.0, 1.5, 2.0]


def test_the_powers_of_a_power_law_melt():
    assert power_of(Law.STANDARD, 0.42) == pytest.approx(1.88, abs=5e-3)
    assert power_of(Law.COMPLETE, 0.42) == pytest.approx(3.38, abs=5e-3)


@given(st.sampled_from(list(Law)), st.floats(0.05, 0.7), st.floats(0.3, 1.0))
def test_each_law_solves_its_differential_equation(law: Law, s: float, n: float):
    """d ln(slope) / d ln(pressure) = m, by differences of the closed form."""
    h = 1e-4
    before, here, after = (growth(law, x, n) for x in (s - h, s, s + h))
    slope, bend = (after - before) / (2 * h), (after - 2 * here + before) / h**2
    assert bend * here / slope**2 == pytest.approx(power_of(law, n), abs=2e-3)


def test_a_shut_screen_has_no_end_of_pressure():
    assert growth(Law.COMPLETE, 1.0) == inf and growth(Law.STANDARD, 2.0) == inf


def test_where_wiping_helps():
    assert [law.wiping_helps for law in Law] == [True, True, False, False]
