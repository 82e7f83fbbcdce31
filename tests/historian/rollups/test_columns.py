"""Rollups: the same as sample by sample, nothing bad hidden, coarser from finer as from the samples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.frame import Frame
from historian.quality import NO_DATA
from historian.rollups.columns import COLUMNS, DTYPES, Rollup, coarser, joined, merged, rollup_of, together
from tests.historian.samples import scattered

SIZES = st.integers(0, 300)
SEEDS = st.integers(0, 10_000)


def rolled(frame: Frame, interval_ns: int) -> Rollup:
    return rollup_of(frame.tag, frame.time_ns, frame.value, frame.quality, interval_ns)


def slow(frame: Frame, interval_ns: int) -> list[dict[str, float]]:
    """One row an interval, from plain Python over its samples."""
    groups: dict[tuple[int, int], list[tuple[int, float, int]]] = {}
    for t, ns, v, q in zip(
        *(c.tolist() for c in (frame.tag, frame.time_ns, frame.value, frame.quality)), strict=True
    ):
        groups.setdefault((t, ns // interval_ns * interval_ns), []).append((ns, v, q))
    rows = []
    for (tag, start), samples in sorted(groups.items()):
        codes = [NO_DATA if math.isnan(v) and q >> 30 < 2 else q for _, v, q in samples]
        usable = [(ns, v) for ns, v, q in samples if q >> 30 < 2 and not math.isnan(v)]
        bad = [ns for ns, v, q in samples if q >> 30 >= 2 or math.isnan(v)]
        row: dict[str, float] = {
            "tag": tag,
            "start_ns": start,
            "samples": len(samples),
            "uncertain": sum(q >> 30 == 1 for q in codes),
            "bad": len(bad),
            "worst": max(codes, key=lambda q: q >> 30),
            "total": math.fsum(v for _, v in usable) if usable else math.nan,
            "bad_first_ns": bad[0] if bad else start,
            "bad_last_ns": bad[-1] if bad else start,
        }
        ends = (
            {
                "first": usable[0],
                "last": usable[-1],
                "minimum": min(usable, key=lambda s: s[1]),
                "maximum": max(usable, key=lambda s: s[1]),
            }
            if usable
            else dict.fromkeys(("first", "minimum", "maximum", "last"), (start, math.nan))
        )
        for name, (ns, v) in ends.items():
            row |= {name: v, f"{name}_ns": ns}
        rows.append(row)
    return rows


@settings(max_examples=60, deadline=None)
@given(SIZES, SEEDS, st.sampled_from([1, 7, 100, 20_000]))
def test_every_column_is_what_the_samples_give(n: int, seed: int, interval_ns: int) -> None:
    frame = scattered(n, seed)
    got, expected = rolled(frame, interval_ns), slow(frame, interval_ns)
    assert len(got) == len(expected)
    for name in COLUMNS:
        column = getattr(got, name)
        assert column.dtype == DTYPES[name]
        if name == "total":
            np.testing.assert_allclose(column, [r[name] for r in expected], atol=1e-9)
        else:
            np.testing.assert_array_equal(column, [r[name] for r in expected], err_msg=name)


@settings(max_examples=60, deadline=None)
@given(SIZES, SEEDS, st.sampled_from([1, 10, 60]))
def test_hours_from_minutes_are_hours_from_samples(n: int, seed: int, factor: int) -> None:
    frame = scattered(n, seed)
    same(coarser(rolled(frame, 50), 50 * factor), rolled(frame, 50 * factor))


def same(one: Rollup, other: Rollup) -> None:
    for name in COLUMNS:
        a, b = getattr(one, name), getattr(other, name)
        if name == "total":
            np.testing.assert_allclose(a, b, atol=1e-9)
        else:
            np.testing.assert_array_equal(a, b, err_msg=name)


@settings(max_examples=60, deadline=None)
@given(SIZES, SEEDS, st.sampled_from([7, 100, 20_000]))
def test_no_sample_is_lost_and_no_bad_one_hidden(n: int, seed: int, interval_ns: int) -> None:
    frame = scattered(n, seed)
    got = rolled(frame, interval_ns)
    is_bad = (frame.quality >> 30 >= 2) | np.isnan(frame.value)
    assert got.samples.sum() == n
    assert got.bad.sum() == is_bad.sum()
    assert np.array_equal(got.worst >> 30 >= 2, got.bad > 0)
    assert np.array_equal(np.isnan(got.mean), got.samples == got.bad)
    assert not (got.clean & ((got.bad > 0) | (got.uncertain > 0))).any()


def test_times_keep_their_nanoseconds() -> None:
    time_ns = np.array([1_893_456_000_000_000_001, 1_893_456_000_000_000_003])
    got = rollup_of(
        np.ones(2, np.int32), time_ns, np.array([2.0, 1.0]), np.zeros(2, np.uint32), 60_000_000_000
    )
    assert (got.first_ns[0], got.minimum_ns[0]) == (time_ns[0], time_ns[1])


@settings(max_examples=40, deadline=None)
@given(SIZES, SIZES, SEEDS)
def test_a_new_interval_takes_the_place_of_the_old_one(n: int, late: int, seed: int) -> None:
    """Rolled up again after late samples and merged, the whole is as if they had come in time."""
    early, more = scattered(n, seed), scattered(late, seed + 1)
    whole = Frame.of(
        *(
            np.concatenate([getattr(early, c), getattr(more, c)])
            for c in ("tag", "time_ns", "value", "quality")
        ),
        arrival_ns=0,
    )
    touched = {(t, ns // 100) for t, ns in zip(more.tag.tolist(), more.time_ns.tolist(), strict=True)}
    hit = np.array(
        [(t, ns // 100) in touched for t, ns in zip(whole.tag.tolist(), whole.time_ns.tolist(), strict=True)],
        dtype=bool,
    )
    again = rollup_of(whole.tag[hit], whole.time_ns[hit], whole.value[hit], whole.quality[hit], 100)
    same(merged(rolled(early, 100), again), rolled(whole, 100))


@settings(max_examples=40, deadline=None)
@given(SIZES, SIZES, SEEDS)
def test_rollups_of_different_samples_add_up(n: int, more: int, seed: int) -> None:
    """Times apart, so that which sample comes first is settled."""
    one, other = scattered(n, seed), scattered(more, seed + 1)
    one, other = (
        Frame.of(f.tag, f.time_ns * 2 + odd, f.value, f.quality, arrival_ns=0)
        for odd, f in enumerate((one, other))
    )
    whole = Frame.of(
        *(
            np.concatenate([getattr(one, c), getattr(other, c)])
            for c in ("tag", "time_ns", "value", "quality")
        ),
        arrival_ns=0,
    )
    got, expected = together(rolled(one, 100), rolled(other, 100)), rolled(whole, 100)
    for name in COLUMNS:
        if name not in ("worst", "minimum_ns", "maximum_ns", "total"):
            np.testing.assert_array_equal(getattr(got, name), getattr(expected, name), err_msg=name)
    assert np.array_equal(got.worst >> 30, expected.worst >> 30)
    np.testing.assert_allclose(got.total, expected.total, atol=1e-9)


def test_one_tag_and_one_window_are_picked_out() -> None:
    got = rolled(scattered(300, 5), 100)
    assert set(got.of_tag(2).tag.tolist()) == {2}
    assert len(got.of_tag(99)) == 0
    cut = got.between(0, 1000)
    assert len(cut) and cut.start_ns.min() >= 0 and cut.start_ns.max() < 1000
    same(joined([got.between(0, 9000), got.between(-9000, 0)]), got)


def test_what_cannot_be_rolled_up_is_refused() -> None:
    frame = scattered(20, 1)
    with pytest.raises(WrongInput, match="at least 1 ns"):
        rolled(frame, 0)
    with pytest.raises(WrongInput, match="sorted"):
        rollup_of(frame.tag[::-1], frame.time_ns, frame.value, frame.quality, 10)
