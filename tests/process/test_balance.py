"""Which of several flow readings agree."""

from __future__ import annotations

from math import isnan, nan

import pytest

from process.balance import agreement


def test_the_two_nearest_readings_are_taken():
    found = agreement({"doser": 780.0, "scale": 640.0, "water": 770.0})
    assert found.names == ("water", "doser") and found.kg_h == pytest.approx(775)
    assert not found.agrees  # the third lies 18 % away


def test_readings_within_eight_percent_agree():
    assert agreement({"a": 700.0, "b": 750.0}).agrees
    assert not agreement({"a": 700.0, "b": 770.0}).agrees


@pytest.mark.parametrize("readings", [{}, {"a": 700.0}, {"a": 700.0, "b": nan}])
def test_one_reading_agrees_with_nothing(readings: dict[str, float]):
    found = agreement(readings)
    assert isnan(found.kg_h) and found.names == () and not found.agrees
