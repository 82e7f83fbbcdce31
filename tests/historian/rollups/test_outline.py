"""Pictures from rollups: only real samples, every extreme and every gap, no more than a pixel off."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.frame import Series
from historian.quality import GOOD, NO_DATA, is_uncertain
from historian.rollups.columns import HOUR_NS, MINUTE_NS, Rollup, rollup_of
from historian.rollups.outline import interval_for, pieces, points_of, rolled_envelope
from tests.historian.samples import scattered

SEEDS = st.integers(0, 10_000)


def series(n: int, seed: int, bad: float = 0.2) -> Series:
    """Samples at times that differ, so that which one is first or last is settled."""
    frame = scattered(n, seed, tags=1, bad=bad)
    time_ns, at = np.unique(frame.time_ns, return_index=True)
    return Series(time_ns, frame.value[at], frame.quality[at])


def rolled(whole: Series, interval_ns: int) -> Rollup:
    tag = np.ones(len(whole), np.int32)
    return rollup_of(tag, whole.time_ns, whole.value, whole.quality, interval_ns)


def cut(whole: Series, start_ns: int, end_ns: int) -> Series:
    inside = (whole.time_ns >= start_ns) & (whole.time_ns < end_ns)
    return Series(whole.time_ns[inside], whole.value[inside], whole.quality[inside])


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 400), SEEDS, st.sampled_from([1, 30, 1000]))
def test_every_point_is_a_sample_that_was_kept_and_is_told_no_better(
    n: int, seed: int, interval_ns: int
) -> None:
    whole = series(n, seed)
    bad = np.isnan(whole.value) | (whole.quality >> 30 >= 2)
    real = set(zip(whole.time_ns[~bad].tolist(), whole.value[~bad].tolist(), strict=True))
    gaps = set(whole.time_ns[bad].tolist())
    uncertain = set(whole.time_ns[is_uncertain(whole.quality) & ~bad].tolist())
    points = points_of(rolled(whole, interval_ns))
    assert np.all(np.diff(points.time_ns) >= 0)
    for ns, value, quality in zip(
        points.time_ns.tolist(), points.value.tolist(), points.quality.tolist(), strict=True
    ):
        if np.isnan(value):
            assert ns in gaps and quality >> 30 >= 2
        else:
            assert (ns, value) in real
            assert quality != GOOD or ns not in uncertain


WINDOWS = st.lists(
    st.tuples(st.integers(-9000, 9000), st.integers(0, 3000)).map(lambda w: (w[0], w[0] + w[1])), max_size=4
)


@settings(max_examples=100, deadline=None)
@given(st.integers(-8192, 0), st.integers(1, 8192), st.sampled_from([1, 50, 3000]), WINDOWS)
def test_pieces_cover_the_window_once_and_roll_up_whole_intervals_only(
    start_ns: int, end_ns: int, interval_ns: int, raw: list[tuple[int, int]]
) -> None:
    got = pieces(start_ns, end_ns, interval_ns, raw)
    assert (got[0].start_ns, got[-1].end_ns) == (start_ns, end_ns)
    assert all(p.start_ns < p.end_ns for p in got)
    assert all(a.end_ns == b.start_ns and a.is_rolled != b.is_rolled for a, b in pairwise(got))
    for p in got:
        if p.is_rolled:
            assert p.start_ns % interval_ns == p.end_ns % interval_ns == 0
            assert not [w for w in raw if w[0] < w[1] and w[0] < p.end_ns and w[1] > p.start_ns]
    if not raw and end_ns - start_ns >= 2 * interval_ns:
        assert any(p.is_rolled for p in got)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(1, 400),
    SEEDS,
    st.integers(-8192, 0),
    st.integers(1, 8192),
    st.sampled_from([3, 20, 100]),
    WINDOWS,
)
def test_extremes_ends_gaps_and_count_of_the_window_are_exact(
    n: int, seed: int, start_ns: int, end_ns: int, columns: int, raw: list[tuple[int, int]]
) -> None:
    whole = series(n, seed)
    parts: list[Rollup | Series] = []
    for p in pieces(start_ns, end_ns, 50, raw):
        inside = cut(whole, p.start_ns, p.end_ns)
        parts.append(rolled(inside, 50) if p.is_rolled else inside)
    thin = rolled_envelope(parts, start_ns, end_ns, columns)
    window = cut(whole, start_ns, end_ns)
    assert thin.samples == len(window)
    good = window.value[(window.quality >> 30 < 2) & ~np.isnan(window.value)]
    kept = thin.value[~np.isnan(thin.value)]
    assert np.isnan(thin.value).any() == (len(good) < len(window))
    assert (len(kept) > 0) == (len(good) > 0)
    if len(good):
        assert (kept.min(), kept.max()) == (good.min(), good.max())
        assert (kept[0], kept[-1]) == (good[0], good[-1])


def test_a_line_never_runs_across_an_interval_that_holds_a_bad_sample() -> None:
    """Good to 30 s, bad to the minute's end, good again from the next minute on."""
    second = np.arange(120)
    quality = np.where((second >= 30) & (second < 60), NO_DATA, GOOD).astype(np.uint32)
    value = np.where(quality == GOOD, second.astype(np.float64), np.nan)
    points = points_of(rolled(Series(second * 10**9, value, quality), MINUTE_NS))
    assert (points.time_ns // 10**9).tolist() == [0, 29, 30, 59, 60, 119]
    assert np.isnan(points.value).tolist() == [False, False, True, True, False, False]


def test_a_gap_that_a_row_hides_is_not_bridged_where_it_could_be_seen() -> None:
    """Three gaps in an hour whose samples are gone: the one in the middle is known by its count alone."""
    second = np.arange(3600)
    gap = (second < 60) | ((second >= 1200) & (second < 1800)) | (second >= 3540)
    quality = np.where(gap, NO_DATA, GOOD).astype(np.uint32)
    value = np.where(gap, np.nan, np.abs(second - 1100.0))
    row = rolled(Series(second * 10**9, value, quality), HOUR_NS)
    for columns in (1, 60, 600):
        found = rolled_envelope([row], 0, HOUR_NS, columns)
        drawn = ~np.isnan(found.value)
        assert (found.time_ns[drawn] // 10**9).tolist() == [60, 1100, 3539]
        line = drawn[:-1] & drawn[1:]
        assert line.any() == (columns == 1), "within one column nothing can be seen of it"
    two = (second == 60) | (second == 3540)
    known = Series(second * 10**9, second / 1.0, np.where(two, NO_DATA, GOOD).astype(np.uint32))
    plain = rolled_envelope([rolled(known, HOUR_NS)], 0, HOUR_NS, 600)
    assert int(np.isnan(plain.value).sum()) == 2, "both are known: nothing is hidden"


def test_an_interval_as_long_as_a_column_is_chosen() -> None:
    kept = [MINUTE_NS, HOUR_NS]
    assert interval_for(0, 90 * 24 * HOUR_NS, 2000, kept) == HOUR_NS
    assert interval_for(0, 83 * 24 * HOUR_NS, 2000, kept) == MINUTE_NS
    assert interval_for(0, 24 * HOUR_NS, 2000, kept) is None
    assert interval_for(0, 90 * 24 * HOUR_NS, 2000, []) is None
    with pytest.raises(WrongInput):
        interval_for(5, 5, 10, kept)
