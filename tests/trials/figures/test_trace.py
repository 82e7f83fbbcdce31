"""Traces: what is sorted, what a sample speaks for, what two gauges share."""

from __future__ import annotations

import numpy as np
import pytest

from trials.figures import Calibration, Trace
from trials.figures.trace import NS, difference


def at(trace: Trace, *seconds: float) -> list[float]:
    return trace.at(np.array([int(s * NS) for s in seconds], dtype=np.int64)).tolist()


def test_samples_are_sorted_and_of_equal_times_the_last_counts():
    trace = Trace.of("a.pv", [3, 1, 3, 2], [30.0, 10.0, 31.0, np.inf])
    assert trace.time_ns.tolist() == [1, 2, 3] and trace.value[[0, 2]].tolist() == [10.0, 31.0]
    assert np.isnan(trace.value[1])


def test_times_and_values_must_be_as_many():
    with pytest.raises(ValueError, match="2 times and 1 values"):
        Trace.of("a.pv", [1, 2], [1.0])


def test_a_sample_speaks_until_the_next_and_no_longer_than_it_is_held():
    trace = Trace.of("a.pv", [0, 5 * NS], [1.0, np.nan])
    assert at(trace, 0, 4.9)[0:2] == [1.0, 1.0]
    assert np.isnan(at(trace, -1, 5, 9)).all()
    long = Trace.of("a.pv", [0], [1.0])
    assert at(long, 10) == [1.0] and np.isnan(at(long, 10.1)).all()
    assert np.isnan(at(Trace.of("a.pv", [], []), 1)).all()


@pytest.mark.parametrize("path", ["a.sp", "a.state", "a.total"])
def test_set_points_states_and_counters_are_held_longer(path: str):
    assert at(Trace.of(path, [0], [1.0]), 100) == [1.0]


def test_pressures_are_paired_within_a_second_whichever_comes_first():
    high = Trace.of("in.pv", [0, 10 * NS, 20 * NS], [90.0, 91.0, 92.0])
    low = Trace.of("out.pv", [NS // 2, 9 * NS, 23 * NS], [60.0, 60.5, 61.0])
    found = difference("dp", high, low)
    assert found.value[:2].tolist() == [30.0, 30.5] and np.isnan(found.value[2])
    assert found.tags == ("in.pv", "out.pv")
    assert np.isnan(difference("dp", high, Trace.of("out.pv", [], [])).value).all()


def test_a_bad_sample_pairs_with_nothing():
    high = Trace.of("in.pv", [0], [90.0])
    assert np.isnan(difference("dp", high, Trace.of("out.pv", [0], [np.nan])).value).all()


def test_of_a_difference_the_shared_reference_cancels_and_each_gauge_stays():
    gauge = Calibration({"reference": 0.5, "in": 0.3})
    other = Calibration({"reference": 0.5, "out": 0.4})
    found = difference("dp", Trace.of("in.pv", [0], [90.0], gauge), Trace.of("out.pv", [0], [60.0], other))
    assert found.calibration is not None
    assert found.calibration.offset == {"reference": 0.0, "in": 0.3, "out": -0.4}
    bare = difference("dp", Trace.of("in.pv", [0], [90.0], gauge), Trace.of("out.pv", [0], [60.0]))
    assert bare.calibration is None


def test_a_gain_counts_with_the_value():
    assert Calibration({"offset": 1.0}, {"scale": 0.01}).parts_at(50.0) == {"offset": 1.0, "scale, gain": 0.5}
