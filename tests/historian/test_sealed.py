"""A store answers the same whatever of it was sealed, made into days and rolled up meanwhile, in any order."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import NS, EmbeddedStore, Frame, Series, Tag
from historian.aggregates import Aggregate, aggregate_series
from historian.archive.manifest import DAY_NS, HOUR_NS
from historian.embedded.upkeep import Upkeep
from historian.envelope import envelope_of
from historian.quality import GOOD, LAST_USABLE, NO_DATA, RANGE_EXCEEDED, SENSOR_FAILURE, UNCERTAIN, is_good
from historian.retention import Keep
from historian.rollups.columns import MINUTE_NS, rollup_of

T0 = 1_893_456_000 * NS  # 2030-01-01 00:00 UTC
PATHS = ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv", "water.flow.pv")
TAGS = [Tag(p, "bar") for p in PATHS]
QUALITIES = (GOOD, GOOD, GOOD, LAST_USABLE, RANGE_EXCEEDED, NO_DATA, SENSOR_FAILURE)
SPAN_NS = 3 * DAY_NS

Act = Frame | int
"""A frame to be appended, or the edge's clock at an upkeep."""


@st.composite
def acts(draw: st.DrawFn) -> list[Act]:
    """Frames with late, doubled and other-epoch samples around hours and days, upkeep between them."""
    chance = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    found: list[Act] = []
    for number in range(draw(st.integers(1, 14))):
        now_ns = T0 + number * draw(st.sampled_from([NS, 40 * MINUTE_NS, 7 * HOUR_NS]))
        if found and chance.random() < 0.35:
            found.append(now_ns + int(chance.integers(0, 2)) * 400 * DAY_NS)
            continue
        n = int(chance.integers(0, 9))
        quality = np.array([QUALITIES[k] for k in chance.integers(0, len(QUALITIES), n)], dtype=np.uint32)
        value = np.round(chance.normal(0, 5, n), int(chance.integers(0, 12)))
        value[quality == NO_DATA] = np.nan
        places = chance.integers(0, 12, n) * [NS // 10, 20 * MINUTE_NS, 5 * HOUR_NS][chance.integers(0, 3)]
        found.append(
            Frame.of(
                chance.integers(1, 4, n),
                T0 + places,
                value,
                quality,
                arrival_ns=now_ns,
                clock_epoch=int(chance.random() < 0.2),
            )
        )
    return found


@dataclass
class Plain:
    """The same, written down once more: a dictionary of what was sent."""

    kept: dict[tuple[int, int, int], tuple[float, int, int]] = field(default_factory=dict)
    replaced: list[tuple[int, int, float, int, int, int]] = field(default_factory=list)

    def take(self, frame: Frame) -> None:
        columns = (frame.tag, frame.time_ns, frame.value, frame.quality)
        for tag, time_ns, value, quality in zip(*(c.tolist() for c in columns), strict=True):
            key = tag, time_ns, frame.clock_epoch
            if (old := self.kept.get(key)) and not same((old[0], old[1]), (value, quality)):
                self.replaced.append((tag, time_ns, *old, frame.arrival_ns))
            self.kept[key] = value, quality, frame.arrival_ns

    def series(self, tag: int, start_ns: int, end_ns: int) -> list[tuple[int, float, int]]:
        mine = [(t, e, v, q) for (n, t, e), (v, q, _) in self.kept.items() if n == tag]
        times = [t for t, *_ in mine]
        rows = []
        for time_ns, epoch, value, quality in mine:
            if start_ns <= time_ns < end_ns:
                raised = times.count(time_ns) > 1 and is_good(np.uint32(quality))
                rows.append((time_ns, epoch, value, quality | UNCERTAIN if raised else quality))
        return [(t, v, q) for t, _, v, q in sorted(rows, key=lambda r: (r[0], r[1]))]


def same(one: tuple[float, int], other: tuple[float, int]) -> bool:
    return one[1] == other[1] and (one[0] == other[0] or (one[0] != one[0] and other[0] != other[0]))


def as_bag(rows: Sequence[tuple[int, float, int]]) -> list[tuple[int, int, str]]:
    """Samples of one time from two epochs may stand in either order."""
    return sorted((t, q, repr(v)) for t, v, q in rows)


def rows_of(series: Series) -> list[tuple[int, float, int]]:
    return list(zip(series.time_ns.tolist(), series.value.tolist(), series.quality.tolist(), strict=True))


PLAYS = (acts(), st.integers(0, 2), st.sampled_from([HOUR_NS, 6 * HOUR_NS, SPAN_NS]), st.integers(1, 40))


@settings(max_examples=30, deadline=None)
@given(*PLAYS)
def test_sealing_changes_no_answer(acts: list[Act], tag: int, window_ns: int, columns: int) -> None:
    played(acts, tag, window_ns, columns)


@pytest.mark.long
@settings(max_examples=500, deadline=None)
@given(*PLAYS)
def test_sealing_changes_no_answer_in_many_plays(
    acts: list[Act], tag: int, window_ns: int, columns: int
) -> None:
    played(acts, tag, window_ns, columns)


def played(acts: list[Act], tag: int, window_ns: int, columns: int) -> None:
    """Do it all, then ask every kind of reader everything."""
    plain = Plain()
    frames = []
    with tempfile.TemporaryDirectory() as folder:
        store = EmbeddedStore.open(Path(folder))
        store.register(TAGS)
        reader = EmbeddedStore.open(Path(folder), mode="read")
        reader.latest()
        upkeep = Upkeep.open(Path(folder), "line-1", Keep())
        for act in acts:
            if isinstance(act, Frame):
                store.append(act)
                plain.take(act)
                frames.append(act)
            else:
                upkeep.step(act, seal_all=True)
        for one in (store, reader, EmbeddedStore.open(Path(folder), mode="read")):
            check(one, plain, frames, PATHS[tag], window_ns, columns)
            one.close()
        upkeep.close()


def check(
    store: EmbeddedStore, plain: Plain, frames: list[Frame], path: str, window_ns: int, columns: int
) -> None:
    tag = PATHS.index(path) + 1
    start_ns, end_ns = T0 + 1, T0 + window_ns
    series = store.read([path], start_ns, end_ns)[path]
    assert as_bag(rows_of(series)) == as_bag(plain.series(tag, start_ns, end_ns))
    assert np.all(np.diff(series.time_ns) >= 0)
    whole = store.read([path], T0, T0 + SPAN_NS)[path]
    pieces = [piece[path] for piece in store.blocks([path], T0, T0 + SPAN_NS, samples=3)]
    assert [r for p in pieces for r in as_bag(rows_of(p))] == as_bag(rows_of(whole))
    found = [
        (tag, m.time_ns, m.value, m.quality, m.arrival_ns, m.replaced_ns)
        for m in store.modified(path, T0, T0 + SPAN_NS)
    ]
    assert sorted(map(repr, found)) == sorted(repr(r) for r in plain.replaced if r[0] == tag)
    assert store.last_number() == len(frames)
    told = list(store.frames())
    assert [number for number, _ in told] == list(range(1, len(frames) + 1))
    for (_, mine), sent in zip(told, frames, strict=True):
        assert (mine.arrival_ns, mine.clock_epoch) == (sent.arrival_ns, sent.clock_epoch)
        for name in ("tag", "time_ns", "value", "quality"):
            np.testing.assert_array_equal(getattr(mine, name), getattr(sent, name), err_msg=name)
    newest = store.latest([path]).get(path)
    assert (newest.time_ns if newest else None) == (int(whole.time_ns[-1]) if len(whole) else None)
    if len(np.unique(whole.time_ns)) == len(whole):
        check_derived(store, path, series, (start_ns, end_ns), columns, whole)


def check_derived(
    store: EmbeddedStore,
    path: str,
    series: Series,
    window: tuple[int, int],
    columns: int,
    whole: Series,
) -> None:
    tag = PATHS.index(path) + 1
    rows = store.rollup([path], *window, MINUTE_NS)
    expected = rollup_of(
        np.full(len(series), tag, np.int32), series.time_ns, series.value, series.quality, MINUTE_NS
    )
    for name in ("start_ns", "samples", "bad", "uncertain", "worst", "minimum", "maximum", "first", "last"):
        np.testing.assert_array_equal(getattr(rows, name), getattr(expected, name), err_msg=name)
    np.testing.assert_allclose(rows.mean, expected.mean, rtol=1e-12, atol=1e-12)
    outline = store.envelope(path, *window, columns)
    assert outline.samples == len(series)
    plain = envelope_of(series, *window, columns)
    assert np.isnan(outline.value).any() == np.isnan(plain.value).any()
    assert set(outline.time_ns[~np.isnan(outline.value)].tolist()) <= set(series.time_ns.tolist())
    if window[1] - window[0] < columns * MINUTE_NS:
        np.testing.assert_array_equal(outline.time_ns, plain.time_ns)
        np.testing.assert_array_equal(outline.value, plain.value)
    mine = store.aggregate(path, *window, HOUR_NS, Aggregate.TIME_AVERAGE_2)
    asked = (whole, *window, HOUR_NS, Aggregate.TIME_AVERAGE_2)
    assert [repr(r) for r in mine] == [repr(r) for r in aggregate_series(*asked)]
