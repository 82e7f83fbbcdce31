"""Few points in place of many: no peak, no gap and no end is lost."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from trials.pictures.thin import thinned

NS = 1_000_000_000
N = 20_000
TIME = np.arange(N, dtype=np.int64) * NS


@given(st.integers(0, N - 1), st.sampled_from([-1.0, 1.0]))
def test_a_peak_of_one_sample_stays(at: int, way: float) -> None:
    value = np.sin(np.arange(N) / 50) * 0.5
    value[at] = way * 9
    time_ns, found = thinned(TIME, value, 0, N * NS, 10, 500)
    assert len(found) <= 1001
    assert (time_ns[np.argmax(way * found)] == TIME[at] and way * found.max() >= 0) or way < 0
    assert np.isclose(np.nanmax(way * found), 9)


@given(st.integers(10, N - 400), st.integers(20, 300), st.booleans())
def test_a_gap_stays_a_gap(at: int, length: int, missing: bool) -> None:
    value = np.sin(np.arange(N) / 50)
    time_ns = TIME
    if missing:
        value[at : at + length] = np.nan
    else:
        keep = np.ones(N, bool)
        keep[at : at + length] = False
        time_ns, value = TIME[keep], value[keep]
    times, found = thinned(time_ns, value, 0, N * NS, 10, 500)
    inside = (times > (at - 1) * NS) & (times < (at + length) * NS)
    assert np.isnan(found[inside]).sum() == 1 and inside.sum() == 1
    assert np.isnan(found).sum() == 1


def test_few_points_are_all_kept() -> None:
    value = np.arange(50.0)
    times, found = thinned(TIME[:50], value, 0, N * NS, 10)
    assert np.array_equal(found, value) and np.array_equal(times, TIME[:50])


def test_times_rise_and_lie_within_what_is_shown() -> None:
    value = np.random.default_rng(1).normal(size=N)
    value[::97] = np.nan
    times, _ = thinned(TIME, value, 100 * NS, 9000 * NS, 10, 300)
    assert np.all(np.diff(times) > 0)
    assert times[0] >= 100 * NS and times[-1] < 9000 * NS


def test_nothing_gives_nothing() -> None:
    for value in (np.full(N, np.nan), np.empty(0)):
        times, found = thinned(TIME[: len(value)], value, 0, N * NS, 10)
        assert len(times) == len(found) == 0


def test_times_of_today_do_not_run_over() -> None:
    start = 1_800_000_000 * NS
    times, found = thinned(TIME + start, np.arange(float(N)), start, start + N * NS, 10, 100)
    assert found[0] == 0 and found[-1] == N - 1 and len(times) <= 201
