"""A cleaning that does not come is found, by pressure or by time; a stop or a start is not taken for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from historian.quality import NO_DATA
from rules.detectors.filtering.overdue import CleaningOverdue
from rules.finding import Finding, Priority
from rules.line import LineFacts
from tests.rules.detectors.plants import FACTS, Filter
from tests.rules.detectors.signals import Staged, every, play, seconds_of, series

ONLY_PRESSURE = replace(FACTS, melt_filter=replace(FACTS.melt_filter, max_interval_s=None))
ONLY_TIME = replace(FACTS, melt_filter=replace(FACTS.melt_filter, trigger_dp_bar=None))


def judged(screen: Filter, facts: LineFacts = FACTS) -> list[Finding]:
    signals = screen.made()
    return play(Staged.of(CleaningOverdue, facts, signals), every(signals, 60))


def skipping(until_s: int) -> Filter:
    """Cleanings stop after the fourth; the pressure goes on rising until a cleaning at last."""
    screen = Filter(10, scatter_bar=0.2)
    last_s = screen.start_s + 4 * 240
    idle = (screen.time_s >= last_s) & (screen.time_s < until_s)
    screen.wiper[screen.time_s >= last_s] = 0.0
    screen.wiper[until_s : until_s + 22] = 1.0
    screen.dp = np.where(idle, 24 + 21 / 218 * (screen.time_s - last_s), screen.dp)
    screen.dp[until_s:] = 26.0
    return screen


def test_regular_cleanings_are_no_fault():
    assert judged(Filter(20)) == []


def test_finds_pressure_above_the_trigger_with_the_wiper_parked():
    began, ended = judged(skipping(until_s=1500), ONLY_PRESSURE)
    over_s = 30 + 960 + (45 - 24) / (21 / 218)
    assert (began.subject, began.active, began.priority) == ("filter.wiper", True, Priority.MEDIUM)
    assert over_s + 10 <= seconds_of(began.time_ns) <= over_s + 22
    assert "wiper is parked" in began.sentence and "not known" in began.sentence
    assert (ended.active, ended.sentence) == (
        False,
        "The filter was cleaned; the pressure difference is 26 bar.",
    )
    assert 1520 <= seconds_of(ended.time_ns) <= 1525


def test_finds_a_cleaning_that_is_due_by_time():
    screen = Filter(10)
    screen.wiper[:] = 0.0
    screen.dp[:] = 30.0
    (began,) = judged(screen, ONLY_TIME)
    assert began.priority is Priority.LOW
    assert 540 * 1.25 <= seconds_of(began.time_ns) - 30 <= 540 * 1.25 + 3
    assert began.sentence.startswith("No cleaning for 11 min while melt runs; at most 9 min are configured.")


def test_time_turns_graver_when_the_pressure_is_above_the_trigger_too():
    screen = Filter(10)
    screen.wiper[:] = 0.0
    screen.dp = np.where(screen.time_s < 1200, 30.0, 52.0)
    assert [(f.active, f.priority) for f in judged(screen)] == [(True, Priority.LOW), (True, Priority.MEDIUM)]


def test_standing_still_does_not_count():
    screen = Filter(10)
    screen.wiper[:] = 0.0
    screen.dp[:] = 30.0
    stands = (screen.time_s > 400) & (screen.time_s < 900)
    screen.speed[stands] = 0.0
    screen.feed_sp[stands] = 0.0
    (began,) = judged(screen, ONLY_TIME)
    assert seconds_of(began.time_ns) >= 900 + 540 * 1.25


def test_a_stop_ends_it():
    screen = skipping(until_s=10_000 - 1)
    screen.speed[1500:] = 0.0
    screen.feed_sp[1500:] = 0.0
    screen.dp[1500:] = 50.0
    began, ended = judged(screen)
    assert began.active and ended.sentence == "Melt no longer runs; a cleaning was not seen."
    assert 1560 <= seconds_of(ended.time_ns) <= 1565


def test_pressure_that_falls_without_a_cleaning_ends_it():
    screen = skipping(until_s=10_000 - 1)
    screen.dp[1300:] = 40.0
    began, ended = judged(screen, ONLY_PRESSURE)
    assert began.active and not ended.active and "below the trigger" in ended.sentence
    assert 1360 <= seconds_of(ended.time_ns) <= 1365


def test_the_first_minutes_of_melt_are_not_judged():
    screen = Filter(2)
    screen.wiper[:] = 0.0
    screen.dp = np.where(screen.time_s < 250, 60.0, 30.0)
    assert judged(screen) == []


@pytest.mark.parametrize("path", ["filter.dp.calc", "filter.wiper.state"])
def test_what_is_not_known_is_not_judged(path: str):
    signals = skipping(until_s=1500).made()
    one = signals[path]
    dark = (one.time_ns > one.time_ns[0] + 1000 * 10**9) & (one.time_ns < one.time_ns[0] + 1495 * 10**9)
    signals[path] = replace(one, quality=np.where(dark, NO_DATA, 0).astype(np.uint32))
    assert play(Staged.of(CleaningOverdue, ONLY_PRESSURE, signals), every(signals, 60)) == []


def test_a_line_with_both_pressures_and_no_difference_is_judged():
    signals = dict(skipping(until_s=1500).made())
    dp = signals.pop("filter.dp.calc")
    seconds = np.asarray([seconds_of(t) for t in dp.time_ns])
    signals["filter.inlet.pressure.pv"] = series(seconds, dp.value + 62)
    signals["filter.outlet.pressure.pv"] = series(seconds, 62.0)
    assert len(play(Staged.of(CleaningOverdue, ONLY_PRESSURE, signals), every(signals, 60))) == 2
