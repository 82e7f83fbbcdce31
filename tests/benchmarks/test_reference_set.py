"""The data that every figure stands on are what the page says they are."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from benchmarks.reference_set import LONG_TAG, MS, START_NS, Group, frames, hour, long_day, tags
from historian.frame import NS
from historian.quality import is_bad

HOUR_NS = 3_600 * NS


@pytest.fixture(scope="module")
def groups() -> list[Group]:
    return hour(0)


def columns_of(groups: list[Group], kind: str) -> list[np.ndarray]:
    """The good values of each tag of a kind, in order of time."""
    named = {t.id: t.path.split(".")[1] for t in tags()}
    return [
        g.value[~is_bad(g.quality[:, place]), place]
        for g in groups
        for place, number in enumerate(g.tags.tolist())
        if named[number] == kind
    ]


def test_there_are_two_hundred_tags_of_eight_kinds() -> None:
    found = tags()
    assert [t.id for t in found] == list(range(1, 201))
    assert Counter(t.path.split(".")[1] for t in found) == {
        "temperature": 85, "pressure": 20, "channel": 15, "float": 10,
        "counter": 15, "switch": 20, "setting": 30, "quick": 5,
    }  # fmt: skip


def test_a_day_has_twenty_one_million_samples(groups: list[Group]) -> None:
    assert 24 * sum(g.value.size for g in groups) == 21_168_000
    assert [len(g.tags) for g in groups] == [49, 49, 49, 48, 5]
    assert sorted(n for g in groups for n in g.tags.tolist()) == list(range(1, 201))


def test_stamps_are_whole_milliseconds_with_three_of_jitter_and_rise(groups: list[Group]) -> None:
    """A trip through float64 would leave steps of 256 ns."""
    for group, step_ms in zip(groups, (1000, 1000, 1000, 1000, 100), strict=True):
        assert group.time_ns.dtype == np.int64
        assert not (group.time_ns % MS).any()
        assert (np.diff(group.time_ns) > 0).all()
        off_ms = (group.time_ns - START_NS) // MS - np.arange(len(group.time_ns)) * step_ms
        assert off_ms.std() == pytest.approx(3.0, abs=0.2)
        assert np.ptp(off_ms) <= 30


def test_values_have_the_grain_of_their_kind(groups: list[Group]) -> None:
    for kind, grain in (("temperature", 0.1), ("pressure", 0.01), ("quick", 0.01), ("counter", 1.0)):
        for value in columns_of(groups, kind):
            np.testing.assert_array_equal(value, np.round(np.round(value / grain) * grain, 2))
    for value in columns_of(groups, "channel"):
        assert len(np.unique(value)) <= 4_096
        np.testing.assert_array_equal(value, value.astype(np.float32))
    for value in columns_of(groups, "float"):
        assert len(np.unique(value)) > 3_500
        np.testing.assert_array_equal(value, value.astype(np.float32))
    for value in columns_of(groups, "switch"):
        assert set(np.unique(value)) == {0.0, 1.0}
    for value in columns_of(groups, "counter"):
        assert (np.diff(value) >= 0).all() and value[-1] > value[0]
    assert max(np.count_nonzero(np.diff(v)) for v in columns_of(groups, "setting")) <= 1


def test_a_tag_has_about_two_bad_bursts_a_day() -> None:
    starts = 0
    for number in range(24):
        for group in hour(number):
            off = group.quality != 0
            starts += int(off[0].sum() + (off[1:] & ~off[:-1]).sum())
            assert np.isnan(group.value[is_bad(group.quality)]).all()
            assert not np.isnan(group.value[~is_bad(group.quality)]).any()
    # Poisson around 400; one in ten thousand runs would be outside, and the seed is fixed.
    assert 320 < starts < 480


def test_the_same_hour_is_the_same_data_and_another_hour_goes_on_from_it() -> None:
    one, again, following = hour(5, 60), hour(5, 60), hour(6, 60)
    for a, b, c in zip(one, again, following, strict=True):
        np.testing.assert_array_equal(a.time_ns, b.time_ns)
        np.testing.assert_array_equal(a.value, b.value)
        assert (np.abs(c.time_ns - a.time_ns - HOUR_NS) <= 30 * MS).all()
        assert not np.array_equal(a.value, c.value)


def test_the_edge_gets_a_frame_a_second_with_every_sample_once() -> None:
    groups = hour(3, 120)
    sent = list(frames(groups, 3))
    assert [len(f) for f in sent] == [245] * 120
    assert len({f.arrival_ns for f in sent}) == 120
    late_ns = [f.arrival_ns - int(f.time_ns.max()) for f in sent]
    assert min(late_ns) > 0 and max(late_ns) < NS // 2
    given = {(n, t) for g in groups for n in g.tags.tolist() for t in g.time_ns.tolist()}
    assert {(n, t) for f in sent for n, t in zip(f.tag.tolist(), f.time_ns.tolist(), strict=True)} == given
    for frame in sent:
        order = np.lexsort((frame.time_ns, frame.tag))
        np.testing.assert_array_equal(order, np.arange(len(frame)))


def test_the_days_of_the_single_tag_follow_each_other() -> None:
    one, other = long_day(0), long_day(1)
    assert len(one) == len(other) == 86_400
    assert set(one.tag.tolist()) == {LONG_TAG.id}
    time_ns = np.concatenate([one.time_ns, other.time_ns])
    assert (np.diff(time_ns) > 900 * MS).all() and (np.diff(time_ns) < 1_100 * MS).all()
    np.testing.assert_array_equal(one.value, np.round(one.value, 1))
    assert abs(other.value[0] - one.value[-1]) < 1.5
