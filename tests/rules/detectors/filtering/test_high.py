"""A pressure above its limit: after the hold time and not before."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from historian.frame import Series
from rules.detectors.filtering.high import PressureHigh
from rules.finding import Finding
from rules.line import RuleSetting
from tests.rules.detectors.filtering.days import pressed
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import Staged, every, play, seconds_of, series


def found(bar: np.ndarray, limit_bar: float, held_s: float) -> list[Finding]:
    numbers = {"limit_bar": limit_bar, "held_s": held_s, "dead_band_bar": 0.0}
    facts = replace(FACTS, rules={"pressure-high": RuleSetting(numbers=numbers)})
    signals: dict[str, Series] = {"extruder.head.pressure.pv": series(np.arange(len(bar)), bar)}
    return play(Staged.of(PressureHigh, facts, signals), every(signals, 10))


@settings(max_examples=25, deadline=None)
@given(st.floats(5, 900), st.integers(1, 120), st.integers(1, 119))
@example(60.0, 15, 7)  # common practice, no source
def test_no_trigger_at_the_hold_time_one_after_it_none_after_a_dip(limit_bar: float, hold_s: int, dip: int):
    def course(above_s: int) -> np.ndarray:
        bar = np.full(20 + above_s + 20, limit_bar - 1)
        bar[10 : 10 + above_s] = limit_bar + 1
        return bar

    # Above at n seconds in a row: seen for n - 1 seconds.
    assert found(course(hold_s), limit_bar, hold_s) == []
    (began, *_) = found(course(hold_s + 1), limit_bar, hold_s)
    assert seconds_of(began.time_ns) == 10 + hold_s
    dipped = course(hold_s + 1)
    dipped[10 + min(dip, hold_s)] = limit_bar - 1
    assert found(dipped, limit_bar, hold_s) == []


def test_one_spell_is_one_finding_however_it_wavers():
    bar = np.where(np.arange(400) % 20 < 12, 180.0, 160.0)
    bar[:20] = bar[300:] = 100.0
    assert [f.active for f in found(bar, 170.0, 5)] == [True, False]


def test_it_says_what_it_is_not():
    (began, *_) = play(Staged.of(PressureHigh, FACTS, pressed()), every(pressed(), 60))
    assert "190 bar, above 170 bar" in began.sentence and "its own affair" in began.sentence
    assert "machine's own affair" in began.advice


@pytest.mark.parametrize("value", [np.nan, 169.9])
def test_unknown_or_below_is_none(value: float):
    assert found(np.full(200, value), 170.0, 5) == []


def starting(peak_s: int) -> list[Finding]:
    """Melt begins to run at 300 s; its cold plug lifts the pressure above the limit 90 s later."""
    seconds = np.arange(900)
    bar = np.where(seconds < 300, 0.0, 100.0)
    bar[390 : 390 + peak_s] = 176.0
    runs = seconds >= 300
    signals = {
        "extruder.head.pressure.pv": series(seconds, bar),
        "extruder.screw.speed.pv": series(seconds, 95.0 * runs),
        "doser.rate.pv": series(seconds, 400.0 * runs),
        "doser.rate.sp": series(seconds, 400.0 * runs),
    }
    return play(Staged.of(PressureHigh, FACTS, signals), every(signals, 60))


def test_a_short_peak_of_cold_melt_at_the_start_is_none():
    assert starting(15) == []


def test_a_peak_that_stays_is_told_at_the_start_too():
    (began, *_) = starting(60)
    assert began.active and 420 <= seconds_of(began.time_ns) <= 425


def test_a_rise_says_when_it_reaches_the_trip_and_between_which_bounds():
    chance = np.random.default_rng(2)
    bar = 100.0 + 0.5 * np.arange(160) + 0.3 * chance.standard_normal(160)  # 200 bar at 200 s
    (began,) = found(bar, 170.0, 5)
    left_min = (200 - seconds_of(began.time_ns)) / 60
    figures = {name: value for name, (value, _) in began.evidence.figures.items()}
    assert figures["to the trip"] == pytest.approx(left_min, abs=0.1)
    assert figures["to the trip, earliest"] <= figures["to the trip"] <= figures["to the trip, latest"]
    assert "it reaches 200 bar in about 0.92 min (0.9 to 0.94)" in began.sentence


@pytest.mark.parametrize("course", [np.full(100, 180.0), 150.0 + 8.0 * np.arange(40.0)])
def test_what_does_not_rise_or_stands_above_the_trip_is_not_said_to_reach_it(course: np.ndarray):
    (began,) = found(course, 170.0, 12)
    assert "reaches" not in began.sentence and "to the trip" not in began.evidence.figures
