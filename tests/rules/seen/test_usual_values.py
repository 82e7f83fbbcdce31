"""What is usual is the median of what a rule hands over, refreshed once a minute."""

from __future__ import annotations

import json
from math import isnan, nan
from statistics import median

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.seen.usual_values import Usual


def test_nothing_is_usual_before_enough_is_known():
    usual = Usual(("a", "b"), least=30)
    for n in range(29):
        usual.learn((float(n), 1.0))
    assert isnan(usual["a"])
    usual.learn((29.0, 1.0))
    assert usual["a"] == 14.5 and usual["b"] == 1.0
    usual.forget()
    assert isnan(usual["b"])


def test_an_unknown_value_is_passed_over():
    usual = Usual(("a", "b"), least=10)
    for n in range(10):
        usual.learn((nan if n % 2 else 5.0, nan))
    assert usual["a"] == 5.0 and isnan(usual["b"])


@settings(max_examples=50, deadline=None)
@given(values=st.lists(st.floats(-1e6, 1e6), min_size=30, max_size=200))
def test_agrees_with_the_median_of_the_last_ones_within_a_minute(values: list[float]):
    """Source: Python's ``statistics.median``."""
    usual = Usual(("a",), points=90, least=30)
    for value in values:
        usual.learn((value,))
    medians = [median(values[max(0, n - 90) : n]) for n in range(max(30, len(values) - 5), len(values) + 1)]
    assert usual["a"] in medians


def test_its_state_is_whole():
    one, other = Usual(("a",)), Usual(("a",))
    for n in range(47):
        one.learn((float(n * n % 13),))
    other.restore(json.loads(json.dumps(one.save())))
    for n in range(20):
        one.learn((float(n),))
        other.learn((float(n),))
        assert one["a"] == other["a"]
