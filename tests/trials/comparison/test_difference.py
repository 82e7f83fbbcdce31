"""The difference of two figures against its uncertainty."""

from __future__ import annotations

from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trials.comparison import Verdict, difference
from trials.figures import Figure


def figure(value: float | None, standard: float | None = None, unit: str = "bar", absent: str = "") -> Figure:
    return Figure("pressure", value, unit, (), "", standard, absent=absent)


def test_a_difference_of_independent_figures():
    """GUM: 3 and 4 are 5 together, twice that is the expanded uncertainty."""
    found = difference(figure(40.0, 3.0), figure(51.0, 4.0))
    assert (found.value, found.percent, found.expanded) == (11.0, 27.5, 10.0)
    assert found.verdict is Verdict.LARGER and found.why == ""
    assert difference(figure(40.0, 3.0), figure(49.0, 4.0)).verdict is Verdict.WITHIN
    assert difference(figure(51.0, 4.0), figure(40.0, 3.0)).verdict is Verdict.LARGER


def test_a_difference_just_as_large_as_its_uncertainty_is_not_larger():
    assert difference(figure(40.0, 3.0), figure(50.0, 4.0)).verdict is Verdict.WITHIN


@pytest.mark.parametrize(("one", "two"), [(None, 1.0), (1.0, None), (None, None)])
def test_an_uncertainty_that_is_not_known_is_not_guessed(one: float | None, two: float | None):
    found = difference(figure(40.0, one), figure(90.0, two))
    assert found.verdict is Verdict.UNKNOWN and found.expanded is None and found.value == 50.0


def test_what_is_absent_has_no_difference_but_the_reason():
    assert difference(figure(None, absent="no gauge"), figure(1.0)).why == "no gauge"
    found = difference(figure(1.0), figure(None, absent="no scale"))
    assert found.value is None and found.verdict is Verdict.NONE and found.why == "no scale"


def test_figures_of_other_units_are_not_subtracted():
    found = difference(figure(40.0, 1.0), figure(4.0, 0.1, "MPa"))
    assert found.value is None and "one is in bar, the other in MPa" in found.why


def test_unlike_things_are_shown_and_not_judged():
    found = difference(figure(40.0, 1.0), figure(90.0, 1.0), "Other fineness.")
    assert (found.value, found.verdict, found.why) == (50.0, Verdict.NOT_JUDGED, "Other fineness.")


def test_of_what_it_says_nothing_there_is_no_percentage():
    assert difference(figure(0.0, 1.0), figure(5.0, 1.0)).percent is None
    assert difference(figure(1.5, 1.0), figure(5.0, 1.0)).percent is None
    assert difference(figure(220.0, 0.1, "Cel"), figure(222.0, 0.1, "Cel")).percent is None
    assert difference(figure(0.3), figure(0.1 + 0.2)).value == 0.0
    assert difference(figure(-10.0), figure(-5.0)).percent == 50.0


NUMBER, SPREAD = st.floats(-1e6, 1e6), st.floats(0, 1e3)


@given(NUMBER, SPREAD, NUMBER, SPREAD)
def test_turned_round_it_is_the_opposite_and_as_certain(a: float, u: float, b: float, v: float):
    one, other = difference(figure(a, u), figure(b, v)), difference(figure(b, v), figure(a, u))
    assert one.value == pytest.approx(b - a, rel=1e-9, abs=1e-11 * max(abs(a), abs(b)))
    assert one.value == -(other.value or 0.0)
    assert one.verdict is other.verdict and one.expanded == other.expanded == pytest.approx(2 * hypot(u, v))


def test_what_one_sensor_is_off_by_cancels_within_a_trial_only():
    """JCGM 100:2008, 5.2.2, two fully correlated inputs of which the difference is taken: it cancels."""
    gauge = {"gauge, accuracy": 3.0}
    first = Figure("p", 90.0, "bar", (), "", (9 + 0.16) ** 0.5, sensors=gauge)
    other = Figure("p", 92.0, "bar", (), "", (9 + 0.09) ** 0.5, sensors=gauge)
    apart, together = difference(first, other), difference(first, other, same_sensors=True)
    assert apart.expanded == pytest.approx(2 * (18 + 0.25) ** 0.5)
    assert together.expanded == pytest.approx(2 * 0.5)
    assert (apart.verdict, together.verdict) == (Verdict.WITHIN, Verdict.LARGER)


def test_a_gain_that_is_off_moves_the_larger_figure_more():
    first = Figure("p", 100.0, "bar", (), "", 2**0.5, sensors={"gauge, gain": 1.0})
    other = Figure("p", 200.0, "bar", (), "", 5**0.5, sensors={"gauge, gain": 2.0})
    assert difference(first, other, same_sensors=True).expanded == pytest.approx(2 * 3**0.5)


def test_a_single_reading_of_each_side_has_no_scatter_that_could_judge():
    first, other = (Figure("p", v, "bar", (), "", 3.0, sensors={"gauge": 3.0}) for v in (90.0, 92.0))
    found = difference(first, other, same_sensors=True)
    assert (found.expanded, found.verdict) == (None, Verdict.UNKNOWN)


def test_another_sensor_does_not_cancel():
    first = Figure("p", 90.0, "bar", (), "", 3.0, sensors={"one, accuracy": 3.0})
    other = Figure("p", 92.0, "bar", (), "", 4.0, sensors={"another, accuracy": 4.0})
    assert difference(first, other, same_sensors=True).expanded == pytest.approx(10.0)
