"""Cleaning cycles are found with their peak and trough, and a cycle of which something is unknown says so."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from process.cycles import NS, Cycle, CycleTracker, cycles_of
from process.statistics import theil_sen

PERIOD_S, WIPE_S, CLEAN, TRIGGER = 240, 22, 24.0, 45.0


def saw_tooth(cycles: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, pressure difference and wiper, once a second; each cleaning ends its period."""
    second = np.arange(cycles * PERIOD_S + 30)
    phase = second % PERIOD_S
    rising = PERIOD_S - WIPE_S
    wiping = phase >= rising
    dp = np.where(wiping, TRIGGER - 21 * (phase - rising) / WIPE_S, CLEAN + 21 * phase / rising)
    return second.astype(np.int64) * NS, dp, wiping.astype(np.float64)


def test_finds_each_cleaning_with_its_times_and_pressures():
    time_ns, dp, wiper = saw_tooth(5)
    found = cycles_of(time_ns, dp, wiper, np.full(len(dp), 60.0))
    assert [c.start_ns // NS for c in found] == [218 + PERIOD_S * k for k in range(5)]
    assert [c.end_ns // NS for c in found] == [PERIOD_S * (k + 1) for k in range(5)]
    per_s = 21 / 218
    for cycle in found:
        assert cycle.complete
        assert cycle.peak_bar == pytest.approx(
            TRIGGER - 3.5 * per_s, abs=0.01
        )  # middle of the last six seconds
        assert cycle.trough_bar == pytest.approx(CLEAN + 5.5 * per_s, abs=0.01)
        assert cycle.amplitude_bar == pytest.approx(20.1, abs=0.1)
        assert cycle.trough_index == pytest.approx(100 * cycle.trough_bar / 60)
    assert np.isnan(found[0].period_s) and [c.period_s for c in found[1:]] == [PERIOD_S] * 4


def test_the_bare_trough_is_free_of_what_was_laid_on_meanwhile():
    time_ns, dp, wiper = saw_tooth(3)
    cycle = cycles_of(time_ns, dp, wiper, np.full(len(dp), 60.0))[1]
    assert cycle.growth_bar_s == pytest.approx(21 / 218, rel=0.02)
    assert cycle.bare_trough_bar == pytest.approx(cycle.trough_bar - 27.5 * 21 / 218, abs=0.1)
    assert cycle.bare_index == pytest.approx(100 * cycle.bare_trough_bar / 60)


def test_the_worked_example_of_effectiveness_and_lasting_rise():
    peaks, troughs = [45.6, 45.4, 45.7, 45.5], [24.1, 24.3, 24.4, 24.6]
    cycles = [Cycle(0, 1, p, t) for p, t in zip(peaks, troughs, strict=True)]
    assert [round(c.amplitude_bar, 1) for c in cycles] == [21.5, 21.1, 21.3, 20.9]
    assert [round(c.effectiveness(20.0), 3) for c in cycles] == [0.840, 0.831, 0.829, 0.820]
    slope = theil_sen(range(4), troughs)
    assert slope.value == pytest.approx(0.158, abs=5e-4)
    assert (35 - troughs[-1]) / slope.value == pytest.approx(65.7, abs=0.1)
    assert np.isnan(Cycle(0, 1, 24.0, 23.0).effectiveness(20.0))  # next to nothing to remove


def test_a_cleaning_before_the_data_begin_is_incomplete():
    time_ns, dp, wiper = saw_tooth(2)
    first = cycles_of(time_ns[225:], dp[225:], wiper[225:])[0]
    assert not first.complete and first.flaw == "its start was not seen"


def test_a_gap_within_a_cleaning_makes_it_incomplete():
    time_ns, dp, wiper = saw_tooth(3)
    keep = np.ones(len(dp), bool)
    keep[464:475] = False
    found = cycles_of(time_ns[keep], dp[keep], wiper[keep])
    assert [c.complete for c in found] == [True, False, True]


def test_a_gap_between_cleanings_leaves_the_period_unknown():
    time_ns, dp, wiper = saw_tooth(3)
    keep = np.ones(len(dp), bool)
    keep[300:320] = False
    found = cycles_of(time_ns[keep], dp[keep], wiper[keep])
    assert all(c.complete for c in found)
    assert np.isnan(found[1].period_s) and np.isnan(found[1].growth_bar_s) and found[2].period_s == PERIOD_S


def test_unknown_pressures_make_it_incomplete():
    time_ns, dp, wiper = saw_tooth(3)
    before, after = dp.copy(), dp.copy()
    before[213:218] = np.nan
    after[483:489] = np.nan
    assert cycles_of(time_ns, before, wiper)[0].flaw == "the pressure before it was not known"
    assert cycles_of(time_ns, after, wiper)[1].flaw == "the pressure after it was not known"


def test_an_unknown_wiper_state_makes_it_incomplete():
    time_ns, dp, wiper = saw_tooth(2)
    wiper[225:228] = np.nan
    assert [c.complete for c in cycles_of(time_ns, dp, wiper)] == [False, True]


def test_a_fault_of_the_wiper_and_a_hasty_second_cleaning_are_told():
    time_ns, dp, wiper = saw_tooth(1)
    fault, hasty = wiper.copy(), wiper.copy()
    fault[235:245] = 3.0
    hasty[244:250] = 1.0
    assert cycles_of(time_ns, dp, fault)[0].flaw == "the wiper reported a fault"
    assert "before the pressure settled" in cycles_of(time_ns, dp, hasty)[0].flaw


def test_jogging_is_no_cleaning():
    time_ns, dp, wiper = saw_tooth(2)
    assert cycles_of(time_ns, dp, np.where(wiper == 1, 2.0, 0.0)) == []


@settings(max_examples=30)
@given(st.sets(st.integers(0, 749), max_size=30), st.sets(st.integers(0, 749), max_size=10))
def test_saving_and_restoring_anywhere_changes_nothing(dark: set[int], at: set[int]):
    time_ns, dp, wiper = saw_tooth(3)
    dp[list(dark)] = np.nan
    straight = cycles_of(time_ns, dp, wiper)
    tracker, found = CycleTracker(), []
    for row, (t, p, w) in enumerate(zip(time_ns.tolist(), dp.tolist(), wiper.tolist(), strict=True)):
        if row in at:
            text = json.dumps(tracker.save(), allow_nan=False)
            tracker = CycleTracker()
            tracker.restore(json.loads(text))
        found.append(tracker.push(t, p, w))
    assert repr([c for c in found if c is not None]) == repr(straight)
