"""Traces on one axis: by time, by melt through the screen, by cleaning; gaps are not bridged."""

from __future__ import annotations

from dataclasses import replace
from math import isnan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.review import Window
from tests.support.made_outcome import outcome
from tests.support.made_traces import LENGTH_S, T0_NS, WINDOW, cycles, line, trace
from trials.comparison import CycleValue, Side, by_cleaning, by_throughput, by_time, side_of_point
from trials.comparison.alignment import cleaning_column, throughput_column, time_column
from trials.figures import Trace
from trials.figures.trace import NS

SECOND = np.arange(LENGTH_S, dtype=np.float64)


def side(name: str = "T-1", **other: object) -> Side:
    made = outcome(name, **other)  # type: ignore[arg-type]
    return side_of_point(made, made.points[0])


def holed(one: Trace, first_s: int, last_s: int) -> Trace:
    """Without the samples of some seconds."""
    second = (one.time_ns - T0_NS) // NS
    keep = (second < first_s) | (second >= last_s)
    return Trace.of(one.path, one.time_ns[keep], one.value[keep], one.calibration)


def test_means_over_steps_of_time_since_the_steady_start():
    """A tag that counts seconds has the mean (59 + 0) / 2 in its first minute."""
    column = time_column(trace("x", SECOND), WINDOW, 60)
    assert len(column) == 60 and column[:3] == pytest.approx([29.5, 89.5, 149.5])
    later = (Window(T0_NS + 600 * NS, T0_NS + 900 * NS),)
    assert time_column(trace("x", SECOND), later, 60)[:2] == pytest.approx([629.5, 689.5])


def test_a_gap_is_not_bridged():
    column = time_column(holed(trace("x", SECOND), 120, 240), WINDOW, 60)
    # The last sample speaks for ten seconds, which are less than half of a minute.
    assert np.flatnonzero(np.isnan(column)).tolist() == [2, 3]


def test_time_that_is_not_steady_has_no_value_but_goes_on():
    windows = (Window(T0_NS, T0_NS + 120 * NS), Window(T0_NS + 300 * NS, T0_NS + 420 * NS))
    column = time_column(trace("x", SECOND), windows, 60)
    assert len(column) == 7 and np.flatnonzero(np.isnan(column)).tolist() == [2, 3, 4]
    assert column[5] == pytest.approx(329.5)


def test_against_the_melt_that_has_passed():
    """720 kg/h are 0.2 kg in a second: 10 kg pass in 50 s."""
    column, unknown_s = throughput_column(trace("x", SECOND), trace("doser.rate.pv", 720.0), WINDOW, 10)
    assert len(column) == 72 and unknown_s == 0
    assert column[:2] == pytest.approx([24.5, 74.5], abs=1)


def test_half_the_feed_takes_twice_as_long_on_the_same_axis():
    fast, slow = side(), side("T-2", traces=line() | {"doser.rate.pv": trace("doser.rate.pv", 390.0)})
    made = by_throughput([fast, slow], "die.pressure.pv", 20)
    assert made.unit == "kg" and made.at[:2].tolist() == [10.0, 30.0]
    assert [int(np.sum(~np.isnan(v))) for v in made.values] == [39, 20]
    assert len(made.values[0]) == len(made.values[1]) == len(made.at)


def test_what_passes_while_the_feed_is_not_known_is_not_counted():
    feed = holed(trace("doser.rate.pv", 720.0), 600, 1200)
    column, unknown_s = throughput_column(trace("x", SECOND), feed, WINDOW, 10)
    assert unknown_s == pytest.approx(590, abs=2)
    assert len(column) == pytest.approx(72 * 3010 / 3600, abs=1)
    # The step in which the gap lies is mostly unknown; the axis goes on as if no time had passed.
    assert np.flatnonzero(np.isnan(column)).tolist() == [12]
    assert column[13] - column[11] > 600
    made = by_throughput([side(), side("T-2", traces=line() | {"doser.rate.pv": feed})], "die.pressure.pv")
    assert made.remarks == ("T-2, P1: for 9.85 min the feed is not known; what passed then is not counted.",)


def test_melt_passes_outside_of_steady_time_too():
    windows = (Window(T0_NS, T0_NS + 100 * NS), Window(T0_NS + 1000 * NS, T0_NS + 1100 * NS))
    column, _ = throughput_column(trace("x", SECOND), trace("doser.rate.pv", 720.0), windows, 10)
    assert len(column) == 22 and np.flatnonzero(~np.isnan(column)).tolist() == [0, 1, 20, 21]


def test_against_the_number_of_the_cleaning():
    made = by_cleaning([side(), side("T-2", found=cycles()[:9])], CycleValue.TROUGH)
    assert made.at[0] == 1 and len(made.at) >= 14
    assert np.sum(~np.isnan(made.values[1])) == sum(c.complete for c in cycles()[:9])
    assert made.values[0][3] == made.values[1][3] == cycles()[3].trough_bar


def test_a_cleaning_that_was_not_wholly_seen_keeps_its_number():
    some = [replace(c, flaw="cut") if n == 2 else c for n, c in enumerate(cycles())]
    column = cleaning_column(some, WINDOW, CycleValue.PEAK)
    assert isnan(column[2]) and column[3] == some[3].peak_bar
    for value in CycleValue:
        assert len(cleaning_column(some, WINDOW, value)) == len(column)


def test_what_is_not_there_is_said_and_leaves_an_empty_column():
    bare = side("T-2", traces={"x": trace("x", 1.0)}, found=[])
    dark = side("T-3", windows=())
    made = by_time([side(), bare, dark], "filter.dp.calc")
    assert made.remarks == (
        "T-2, P1: filter.dp.calc is not recorded.",
        "T-3, P1: there is no steady time.",
    )
    assert np.all(np.isnan(made.values[1])) and np.all(np.isnan(made.values[2]))
    assert np.nanmax(made.values[0]) > 30
    assert by_throughput([bare, dark], "x").at.size == 0
    assert by_cleaning([bare, dark], CycleValue.PEAK).values[0].size == 0


@settings(max_examples=40, deadline=None)
@given(
    st.integers(-(10**6), 10**6),
    st.sampled_from([1.0, 7.0, 60.0, 600.0]),
    st.lists(st.tuples(st.integers(0, 3500), st.integers(1, 900)), max_size=3),
)
def test_the_clock_does_not_matter_and_nothing_lies_beyond_the_samples(
    shift_s: int, step: float, holes: list[tuple[int, int]]
):
    one, feed = trace("x", np.sin(SECOND / 50)), trace("doser.rate.pv", 700 + 50 * np.cos(SECOND / 90))
    for first, length in holes:
        keep = (one.time_ns < T0_NS + first * NS) | (one.time_ns >= T0_NS + (first + length) * NS)
        one = Trace.of("x", one.time_ns[keep], one.value[keep])

    def moved(some: Trace) -> Trace:
        return Trace.of(some.path, some.time_ns + shift_s * NS, some.value)

    window = (Window(WINDOW[0].start_ns + shift_s * NS, WINDOW[0].end_ns + shift_s * NS),)
    for here, there in (
        (time_column(one, WINDOW, step), time_column(moved(one), window, step)),
        (
            throughput_column(one, feed, WINDOW, step)[0],
            throughput_column(moved(one), moved(feed), window, step)[0],
        ),
    ):
        assert np.array_equal(here, there, equal_nan=True)
        known = here[~np.isnan(here)]
        assert np.all(np.abs(known) <= 1)
