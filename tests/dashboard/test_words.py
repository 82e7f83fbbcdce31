"""Words for numbers, units, ages and times; and every example that stands in the package's docstrings."""

from __future__ import annotations

import doctest
import importlib
import math
import pkgutil

import pytest
from hypothesis import given
from hypothesis import strategies as st

import dashboard
from dashboard.words import (
    clock_text,
    countdown_text,
    duration_text,
    joined,
    number_text,
    offset_ms,
    offset_text,
    place_text,
    quantity_text,
)
from historian.frame import NS

MODULES = [m.name for m in pkgutil.walk_packages(dashboard.__path__, "dashboard.")]


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples_hold(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@given(st.floats(allow_nan=False, min_value=-1e6, max_value=1e6))
def test_a_number_reads_back_to_its_rounding(value: float) -> None:
    text = number_text(value, "bar").replace("−", "-")
    assert math.isclose(float(text), value, abs_tol=0.5001 if abs(value) >= 99.9 else 0.0501)
    assert text != "-0.0"


def test_what_is_not_known_is_a_dash_not_a_zero() -> None:
    assert number_text(float("nan"), "bar") == "–"
    assert quantity_text(0.0, "bar") == "0.0 bar"


@given(st.floats(min_value=0, max_value=1e7))
def test_a_duration_is_within_a_tenth_of_what_it_says(seconds: float) -> None:
    unit_s = {"s": 1, "min": 60, "h": 3600, "d": 86400}
    parts = duration_text(seconds).split()
    told = sum(int(n) * unit_s[u] for n, u in zip(parts[::2], parts[1::2], strict=True))
    assert abs(told - seconds) <= max(5.0, 30.0 if seconds > 90 else 5.0, 3600 if seconds > 172_000 else 0)


def test_the_clock_is_the_sites_and_names_another_day() -> None:
    at_ns = 1_777_874_400 * NS  # 06:00 UTC on 4 May 2026
    assert clock_text(at_ns, "Europe/Madrid") == "08:00:00"
    assert clock_text(at_ns, "Asia/Kolkata", seconds=False) == "11:30"
    assert clock_text(at_ns, "UTC", now_ns=at_ns + 86_400 * NS) == "4 May 06:00:00"


def test_the_offset_follows_the_season() -> None:
    summer, winter = 1_777_874_400 * NS, 1_767_225_600 * NS
    assert (offset_ms(summer, "Europe/Madrid"), offset_ms(winter, "Europe/Madrid")) == (7_200_000, 3_600_000)
    assert offset_text(offset_ms(winter, "America/St_Johns")) == "UTC−3:30"


@pytest.mark.parametrize(
    ("subject", "words"),
    [
        ("filter.plate.12.temp.pv", "plate 12"),
        ("die.zone.1", "die zone 1"),
        ("filter.screen", "screen"),
        ("filter.discharge.temp.pv", "discharge block"),
        ("filter", "filter"),
    ],
)
def test_places_are_said_as_on_the_floor(subject: str, words: str) -> None:
    assert place_text(subject) == words


def test_small_words() -> None:
    assert countdown_text(3725) == "1:02:05"
    assert joined([]) == ""
    assert joined(["a"]) == "a"
