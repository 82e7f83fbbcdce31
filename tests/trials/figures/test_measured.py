"""Values with the sources of their uncertainty: what is shared cancels or adds, what is missing stays so."""

from __future__ import annotations

from math import inf, log, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trials.figures import Figure, Measured, derived, missing, told

U = st.floats(0.0, 5.0)


@given(st.floats(-100, 100), st.floats(-100, 100), U, U, U)
def test_of_a_difference_what_both_share_cancels(
    a: float, b: float, own_a: float, own_b: float, shared: float
):
    high = Measured(a, {"high": own_a, "reference": shared})
    low = Measured(b, {"low": own_b, "reference": shared})
    found = derived(lambda x, y: x - y, high, low)
    assert found.value == a - b
    assert found.standard == pytest.approx((own_a**2 + own_b**2) ** 0.5, abs=1e-9)


def test_of_a_sum_what_both_share_adds():
    one = Measured(3.0, {"reference": 0.2})
    assert derived(lambda x, y: x + y, one, one).standard == pytest.approx(0.4)


def test_opposite_signs_add_in_a_difference():
    found = derived(lambda x, y: x - y, Measured(3.0, {"s": 0.2}), Measured(1.0, {"s": -0.2}))
    assert found.standard == pytest.approx(0.4)


def test_plain_numbers_are_exact():
    assert derived(lambda x, y: x * y, Measured(3.0, {"s": 0.2}), 10).standard == pytest.approx(2.0)


def test_the_reason_of_the_first_missing_value_comes_through():
    found = derived(lambda x, y: x / y, missing("no flow", "a"), missing("no power", "b"))
    assert not found.known and found.why == "no flow" and found.tags == ("a", "b")


BAD = {
    "zero below": lambda x: 1 / x,
    "no logarithm": log,
    "endless": lambda x: inf,
    "not a number": lambda x: nan,
    "complex": lambda x: (-1 - x) ** 0.5,
}


@pytest.mark.parametrize("kind", BAD)
def test_what_gives_no_number_says_so(kind: str):
    found = derived(BAD[kind], Measured(0.0, {"s": 0.1}), otherwise="no throughput")
    assert not found.known and found.why == "no throughput" and found.standard is None


def test_a_value_less_certain_than_it_is_large_is_not_told():
    found = derived(lambda x: x**0.5 if 0.8 < x < 1.2 else nan, Measured(1.0, {"s": 0.5}))
    assert not found.known and "less certain" in found.why


def test_at_an_edge_one_side_stands_for_both():
    found = derived(lambda x: x if x <= 1.0 else nan, Measured(1.0, {"s": 0.5}))
    assert found.standard == pytest.approx(0.5)


def test_one_sensor_of_which_nothing_is_known_leaves_no_uncertainty():
    found = derived(lambda x, y: x + y, Measured(1.0, {"s": 0.1}), Measured(1.0, {}, frozenset({"b"})))
    assert found.known and found.standard is None
    figure = Figure.of("sum", "1", found, (), "added")
    assert figure.value == 2.0 and figure.standard_uncertainty is None and figure.expanded is None
    assert "none is known of b" in figure.remarks[0]


def test_the_least_known_share_comes_through():
    assert (
        derived(lambda x, y: x + y, Measured(1, known_share=0.9), Measured(1, known_share=0.7)).known_share
        == 0.7
    )


@pytest.mark.parametrize("value", [None, nan, inf])
def test_a_number_that_nobody_told(value: float | None):
    assert told(value, "the density").why == "the density is not told"


def test_unless_keeps_the_first_reason():
    assert missing("first").unless(True, "second").why == "first"
    assert Measured(1.0).unless(True, "second").why == "second"
    assert Measured(1.0).unless(False, "second").known
