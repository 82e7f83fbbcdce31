"""Means and percentiles by time: against numpy where samples are even, by hand where they are not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.review import Window
from trials.figures import Trace
from trials.figures.trace import NS
from trials.figures.weighting import apart, held, maximum, mean, percentile, why_not


def window(start_s: float, end_s: float) -> Window:
    return Window(int(start_s * NS), int(end_s * NS))


def even(values: object) -> Trace:
    x = np.asarray(values, dtype=float)
    return Trace.of("a.pv", np.arange(len(x)) * NS, x)


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=60), st.floats(0.1, 99.9))
def test_of_even_samples_the_statistics_are_numpys(values: list[float], percent: float):
    found = held(even(values), [window(0, len(values))])
    assert found.share == pytest.approx(1.0)
    assert found.mean == pytest.approx(np.mean(values), abs=1e-6)
    assert found.sd == pytest.approx(np.std(values), abs=1e-6)
    low, high = (
        np.percentile(values, np.clip(percent + e, 0, 100), method="inverted_cdf") for e in (-1e-6, 1e-6)
    )
    assert low <= found.percentile(percent) <= high
    assert found.percentile(100) == max(values)


def test_a_sample_counts_by_how_long_it_speaks():
    trace = Trace.of("a.pv", [0, 1 * NS, 9 * NS], [10.0, 20.0, 0.0])
    found = held(trace, [window(0, 10)])
    assert found.weight_s.tolist() == [1.0, 8.0, 1.0]
    assert found.mean == pytest.approx(17.0)
    assert found.percentile(10) == 0.0 and found.percentile(20) == 10.0 and found.percentile(50) == 20.0


def test_gaps_and_bad_samples_are_not_counted():
    trace = Trace.of("a.pv", [0, 50 * NS, 60 * NS, 65 * NS], [1.0, 3.0, np.nan, 5.0])
    found = held(trace, [window(0, 100)])
    # Each is held for ten seconds; the bad one speaks for none of its five.
    assert found.weight_s.tolist() == [10.0, 10.0, 10.0]
    assert found.mean == pytest.approx(3.0) and found.share == pytest.approx(0.3)


def test_a_sample_from_before_speaks_into_the_window_and_none_beyond_it():
    found = held(Trace.of("a.pv", [0, 8 * NS], [1.0, 2.0]), [window(4, 10)])
    assert found.weight_s.tolist() == [4.0, 2.0] and found.share == 1.0


def test_windows_that_overlap_count_once_and_empty_ones_not_at_all():
    assert apart([window(5, 9), window(0, 6), window(20, 20), window(30, 25)]) == (window(0, 9),)
    assert held(even(np.ones(20)), [window(0, 6), window(5, 9)]).weight_s.sum() == pytest.approx(9.0)


def test_numacc_3_keeps_its_digits():
    """NIST StRD, NumAcc3: 1000000.2, then .1 and .3 in turn: mean 1000000.2, sd 0.1 (of n - 1)."""
    x = np.array([1000000.2] + [1000000.1, 1000000.3] * 500)
    found = held(even(x), [window(0, 1001)])
    assert found.mean == pytest.approx(1000000.2, abs=1e-9)
    assert found.sd * np.sqrt(1001 / 1000) == pytest.approx(0.1, rel=1e-8)


def test_samples_that_follow_one_another_make_the_mean_less_certain_than_their_number_says():
    rng = np.random.default_rng(4)
    white = held(even(rng.standard_normal(4000)), [window(0, 4000)])
    wander = np.convolve(rng.standard_normal(4099), np.ones(100) / 10, "valid")
    slow = held(even(wander), [window(0, 4000)])
    by_number = 1 / np.sqrt(4000)
    assert white.scatter_of(lambda h: h.mean) == pytest.approx(by_number, rel=0.6)
    assert slow.scatter_of(lambda h: h.mean) > 4 * by_number


@pytest.mark.parametrize(
    ("values", "windows", "why"),
    [
        (np.ones(50), [], "no window"),
        (np.full(50, np.nan), [window(0, 50)], "no good sample"),
        (np.ones(2), [window(0, 12)], "2 good samples"),
        (np.ones(20), [window(0, 100)], "known for 29 %"),
        ([], [window(0, 100)], "no good sample"),
    ],
)
def test_why_there_is_no_figure(values: object, windows: list[Window], why: str):
    traces = {"a.pv": even(values)}
    for found in (
        mean(traces, "a.pv", windows),
        percentile(traces, "a.pv", windows, 5),
        maximum(traces, "a.pv", windows),
    ):
        assert not found.known and why in found.why
    assert why_not({}, "a.pv", [window(0, 10)]) == "a.pv is not recorded"
