"""Which time counts, and when it is only indicative."""

from __future__ import annotations

import numpy as np
import pytest

from process.phases import Phase
from rules.review import Window
from tests.support.made_traces import LENGTH_S, T0_NS, WINDOW, cycles, line, trace
from trials.figures.trace import NS
from trials.figures.windows import steadiness_figure, steady_windows, why_indicative, without_cleanings

SAMPLES = (T0_NS + 600 * NS, T0_NS + 2400 * NS)


def test_steady_phases_less_what_must_not_count():
    phases = [
        Phase("ramp", 0, 10, ""),
        Phase("steady", 10, 100, ""),
        Phase("running", 100, 110, ""),
        Phase("steady", 110, 200, ""),
    ]
    found = steady_windows(phases, [Window(40, 50), Window(90, 120)])
    assert found == (Window(10, 40), Window(50, 90), Window(120, 200))
    assert steady_windows(phases[:1]) == ()


def test_cleanings_are_cut_out_with_half_a_minute_on_both_sides():
    cut = without_cleanings(WINDOW, cycles())
    assert sum(w.s for w in cut) == pytest.approx(LENGTH_S - 14 * 82)
    assert cut[0] == Window(T0_NS, T0_NS + 188 * NS)


def test_an_hour_of_good_samples_is_valid():
    assert why_indicative(line(), cycles(), WINDOW, pellet_samples_ns=SAMPLES) == ()


def test_each_reason_is_told():
    short = (Window(T0_NS, T0_NS + 900 * NS),)
    traces = line() | {
        "die.pressure.pv": trace("die.pressure.pv", np.where(np.arange(LENGTH_S) % 2, np.nan, 55.0))
    }
    del traces["extruder.screw.speed.pv"]
    told = why_indicative(traces, cycles(), short, screen_known=False, clock_doubtful=True)
    for part in (
        "15 min",
        "2 whole cleaning",
        "die.pressure.pv is known for 50 %",
        "extruder.screw.speed.pv is known for 0 %",
        "0 pellet samples",
        "screen",
        "clock",
    ):
        assert any(part in one for one in told), part
    assert len(told) == 7


def test_without_steady_time_there_is_one_reason():
    assert why_indicative(line(), cycles(), ()) == (
        "There is no steady time: there is no window to look at.",
    )


def test_few_cleanings_are_enough_where_they_lie_far_apart():
    every_fourth = [c for k, c in enumerate(cycles()) if k % 4 == 0]
    far = [type(c)(c.start_ns, c.end_ns, 45.0, 24.0, 960.0) for c in every_fourth]
    reasons = why_indicative(line(), far, WINDOW, pellet_samples_ns=SAMPLES)
    assert reasons == ()
    assert (
        "2 whole cleaning periods; 3" in why_indicative(line(), far[:3], WINDOW, pellet_samples_ns=SAMPLES)[0]
    )


def test_the_test_of_two_variances_on_a_trace():
    noise = np.random.default_rng(1).standard_normal(LENGTH_S)
    path = "doser.rate.pv"
    still = steadiness_figure({path: trace(path, 780 + noise)}, path, WINDOW, step_s=1)
    drift = steadiness_figure(
        {path: trace(path, 780 + noise + np.arange(LENGTH_S) / 2)}, path, WINDOW, step_s=1
    )
    assert still.value == pytest.approx(95, abs=3) and drift.value < 5
    assert steadiness_figure({path: trace(path, 780.0)}, path, WINDOW).absent.startswith(
        "the windows are too short"
    )
    assert steadiness_figure({}, path, WINDOW).absent == f"{path} is not recorded"
