"""A store read with fixed clock offsets gives what moving every sample by hand gives; the rest is untouched."""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import NS, EmbeddedStore, Frame, Series, Store, Tag
from historian.aggregates import Aggregate, aggregate_series
from historian.archive.manifest import DAY_NS
from historian.clocks.record import ClockFix
from historian.clocks.retimed import Retimed
from historian.embedded.upkeep import Upkeep
from historian.envelope import envelope_of
from historian.quality import GOOD, NO_DATA, UNCERTAIN
from historian.retention import Keep
from historian.rollups.columns import COLUMNS, HOUR_NS, MINUTE_NS, rollup_of
from historian.store import Modified
from tests.historian.conformance import Conformance
from tests.historian.test_conformance import Folder

T0 = 1_893_456_000 * NS  # 2030-01-01 00:00 UTC
WRONG, RIGHT = "filter.inlet.pressure.pv", "water.flow.pv"
TAGS = [Tag(WRONG, "bar", source="plc"), Tag(RIGHT, "m3/h", source="meter")]
DAY_S = 86_400
EVER = (T0 - 900 * DAY_NS, T0 + 900 * DAY_NS)
Kept = dict[int, list[tuple[int, float, int, int]]]


def fix(start_ns: int, end_ns: int, shift_ns: int, source: str = "plc") -> ClockFix:
    return ClockFix(1, source, start_ns, end_ns, shift_ns, 0, "me", "a test")


@dataclass
class Fixed:
    """A store with samples of two sources and fixes of one, and what reading it must give."""

    store: Store
    fixes: list[ClockFix]
    sent: list[Frame]

    @property
    def retimed(self) -> Retimed:
        return Retimed(self.store, lambda: self.fixes)

    def rows(self, tag: int) -> list[tuple[int, float, int, int]]:
        """Time, value, quality and arrival of every sample, moved one by one."""
        last = {
            t: (v, q, f.arrival_ns)
            for f in self.sent
            for k, t, v, q in zip(
                f.tag.tolist(), f.time_ns.tolist(), f.value.tolist(), f.quality.tolist(), strict=True
            )
            if k == tag
        }
        moved = []
        for t, (v, q, arrival) in last.items():
            shift = sum(f.shift_ns for f in self.fixes if tag == 1 and f.start_ns <= t < f.end_ns)
            moved.append((t + shift, v, q, arrival, t))
        times = Counter(row[0] for row in moved)
        return sorted((t, v, UNCERTAIN if times[t] > 1 and q == GOOD else q, a) for t, v, q, a, _ in moved)

    def series(self, tag: int, start_ns: int, end_ns: int) -> Series:
        rows = [r for r in self.rows(tag) if start_ns <= r[0] < end_ns]
        return Series.of([r[0] for r in rows], [r[1] for r in rows], [r[2] for r in rows])


@st.composite
def plans(draw: st.DrawFn) -> tuple[list[list[int]], list[ClockFix], bool]:
    """Sample seconds by frame, fixes that share neither stored times nor what comes out, whether it is sealed."""
    unit = draw(st.sampled_from([1, 60, 3000]))
    seconds = draw(st.lists(st.lists(st.integers(0, 60), min_size=1, max_size=8), min_size=1, max_size=6))
    fixes: list[ClockFix] = []
    for _ in range(draw(st.integers(0, 3))):
        start, length = draw(st.integers(-5, 60)), draw(st.integers(1, 20))
        shift_s = draw(
            st.one_of(st.integers(-70, 70).map(unit.__mul__), st.sampled_from([-365 * DAY_S, 365 * DAY_S]))
        )
        low, high = T0 + start * unit * NS, T0 + (start + length) * unit * NS
        new = fix(low, high, shift_s * NS or NS // 4)
        apart = all(f.end_ns <= new.start_ns or new.end_ns <= f.start_ns for f in fixes) and all(
            f.end_ns + f.shift_ns <= new.start_ns + new.shift_ns
            or new.end_ns + new.shift_ns <= f.start_ns + f.shift_ns
            for f in fixes
        )
        if apart:
            fixes.append(new)
    return [[s * unit for s in some] for some in seconds], fixes, draw(st.booleans())


def made(folder: Path, seconds: list[list[int]], fixes: list[ClockFix], *, sealed: bool) -> Fixed:
    store = EmbeddedStore.open(folder, synchronous="normal")
    store.register(TAGS)
    sent = []
    for number, all_of_it in enumerate(seconds):
        some = sorted(set(all_of_it))
        times = [T0 + s * NS for s in some]
        values = [float(s * 7 % 11) + number for s in some]
        qualities = [NO_DATA if s % 5 == 4 else GOOD for s in some]
        values = [np.nan if q == NO_DATA else v for v, q in zip(values, qualities, strict=True)]
        frame = Frame.of(
            [1] * len(some) + [2] * len(some),
            times * 2,
            values * 2,
            qualities * 2,
            arrival_ns=T0 + number * NS,
        )
        store.append(frame)
        sent.append(frame)
    if sealed:
        upkeep = Upkeep.open(folder, "line-1", Keep())
        upkeep.step(T0 + 9 * DAY_NS, seal_all=True)
        upkeep.close()
    return Fixed(store, fixes, sent)


def alike(found: Series, wanted: Series) -> None:
    """The same samples; of those on one time in any order."""

    def rows(s: Series) -> list[tuple[int, float, int]]:
        value = np.nan_to_num(s.value, nan=1e9)
        return sorted(zip(s.time_ns.tolist(), value.tolist(), s.quality.tolist(), strict=True))

    assert np.all(found.time_ns[1:] >= found.time_ns[:-1])
    assert rows(found) == rows(wanted)


@settings(max_examples=25, deadline=None)
@given(plans(), st.integers(-40, 80), st.integers(1, 120))
def test_every_answer_is_that_of_the_samples_moved_by_hand(
    plan: tuple[list[list[int]], list[ClockFix], bool], start: int, length: int
) -> None:
    seconds, fixes, sealed = plan
    unit = max(1, max(max(some) for some in seconds) // 60)
    window = (T0 + start * unit * NS, T0 + (start + length) * unit * NS)
    with tempfile.TemporaryDirectory() as folder:
        kept = made(Path(folder), seconds, fixes, sealed=sealed)
        retimed = kept.retimed
        found = retimed.read([WRONG, RIGHT], *window)
        whole = retimed.read([RIGHT, WRONG], *EVER)
        for tag, path in enumerate((WRONG, RIGHT), 1):
            alike(found[path], kept.series(tag, *window))
            alike(whole[path], kept.series(tag, *EVER))
            newest = max(kept.rows(tag))
            sample = retimed.latest([path])[path]
            assert sample.time_ns == newest[0]
            if Counter(r[0] for r in kept.rows(tag))[newest[0]] == 1:
                assert sample.arrival_ns == newest[3]
            blocks = [b[path] for b in retimed.blocks([path], *EVER, samples=3) if len(b[path])]
            alike(
                Series(*(np.concatenate([getattr(b, c) for b in blocks]) for c in Series.__slots__)),
                whole[path],
            )
        span = retimed.span()
        assert span is not None
        assert span[0] <= min(kept.rows(1)[0][0], kept.rows(2)[0][0])
        assert span[1] >= max(kept.rows(1)[-1][0], kept.rows(2)[-1][0])
        kept.store.close()


@settings(max_examples=20, deadline=None)
@given(plans(), st.sampled_from([7 * NS, MINUTE_NS, HOUR_NS]))
def test_rollups_outlines_and_aggregates_are_those_of_the_moved_samples(
    plan: tuple[list[list[int]], list[ClockFix], bool], interval_ns: int
) -> None:
    seconds, fixes, sealed = plan
    fixes = [f for f in fixes if abs(f.shift_ns) < 100 * DAY_NS]
    with tempfile.TemporaryDirectory() as folder:
        kept = made(Path(folder), seconds, fixes, sealed=sealed)
        window = (T0 - 3 * HOUR_NS + 1, T0 + 3 * DAY_NS)
        series = kept.retimed.read([WRONG], *window)[WRONG]
        tags = np.ones(len(series), np.int32)
        wanted = rollup_of(tags, series.time_ns, series.value, series.quality, interval_ns)
        found = kept.retimed.rollup([WRONG], *window, interval_ns)
        for name in COLUMNS:
            np.testing.assert_allclose(getattr(found, name), getattr(wanted, name), rtol=1e-12, err_msg=name)
        outline, drawn = kept.retimed.envelope(WRONG, *window, 5), envelope_of(series, *window, 5)
        assert outline.samples == drawn.samples
        np.testing.assert_array_equal(outline.time_ns, drawn.time_ns)
        np.testing.assert_array_equal(outline.value, drawn.value)
        whole = kept.retimed.read([WRONG], *EVER)[WRONG]
        for kind in (Aggregate.TIME_AVERAGE, Aggregate.COUNT):
            assert repr(kept.retimed.aggregate(WRONG, *window, HOUR_NS, kind)) == repr(
                aggregate_series(whole, *window, HOUR_NS, kind, stepped=False)
            )
        kept.store.close()


@pytest.fixture
def hour(tmp_path: Path) -> Iterator[Fixed]:
    """A sample a minute for an hour; the machine's clock was an hour behind from minute 20 to 40."""
    kept = made(tmp_path, [[60 * m] for m in range(60)], [], sealed=False)
    kept.fixes.append(fix(T0 + 20 * MINUTE_NS, T0 + 40 * MINUTE_NS, HOUR_NS))
    yield kept
    kept.store.close()


def test_what_is_stored_stays_and_frames_come_as_they_arrived(hour: Fixed) -> None:
    hour.retimed.read([WRONG], *EVER)
    frames = [f for _, f in hour.retimed.frames()]
    assert [f.time_ns.tolist() for f in frames] == [f.time_ns.tolist() for f in hour.sent]
    assert hour.retimed.last_number() == 60
    assert len(hour.store.read([WRONG], T0 + 20 * MINUTE_NS, T0 + 40 * MINUTE_NS)[WRONG]) == 20
    assert len(hour.retimed.read([WRONG], T0 + 20 * MINUTE_NS, T0 + 40 * MINUTE_NS)[WRONG]) == 0
    assert len(hour.retimed.read([RIGHT], T0 + 20 * MINUTE_NS, T0 + 40 * MINUTE_NS)[RIGHT]) == 20


def test_a_withdrawn_fix_counts_no_more_and_a_new_one_at_once(hour: Fixed) -> None:
    retimed = hour.retimed
    assert retimed.latest([WRONG])[WRONG].time_ns == T0 + 99 * MINUTE_NS
    hour.fixes.clear()
    assert retimed.latest([WRONG])[WRONG].time_ns == T0 + 59 * MINUTE_NS


def test_the_value_before_a_window_is_looked_for_among_the_moved_ones(hour: Fixed) -> None:
    found = hour.retimed.read([WRONG], T0 + 110 * MINUTE_NS, T0 + 120 * MINUTE_NS, bound_before=True)[WRONG]
    assert found.time_ns.tolist() == [T0 + 99 * MINUTE_NS]


def test_what_was_replaced_moves_with_the_rest(hour: Fixed) -> None:
    at = T0 + 30 * MINUTE_NS
    (before,) = hour.store.read([WRONG], at, at + 1)[WRONG].value.tolist()
    hour.store.append(Frame.of([1], [at], [99.0], [GOOD], arrival_ns=T0 + 2 * HOUR_NS))
    wanted = [Modified(at + HOUR_NS, before, GOOD, T0 + 30 * NS, T0 + 2 * HOUR_NS)]
    assert hour.retimed.modified(WRONG, at + HOUR_NS, at + HOUR_NS + 1) == wanted
    assert hour.retimed.modified(WRONG, at, at + 1) == []


def test_rollups_whose_samples_have_gone_still_answer(tmp_path: Path) -> None:
    kept = made(tmp_path, [[60 * m] for m in range(60)], [], sealed=True)
    upkeep = Upkeep.open(tmp_path, "line-1", Keep(raw_ns=HOUR_NS))
    kept.store.append(Frame.of([2], [T0 + 5 * DAY_NS], [1.0], [GOOD], arrival_ns=T0 + 5 * DAY_NS))
    upkeep.step(T0 + 9 * DAY_NS)
    assert (
        upkeep.step(T0 + 9 * DAY_NS, seal_all=True).gone.segments
        or len(kept.store.read([WRONG], *EVER)[WRONG]) == 0
    )
    upkeep.close()
    kept.fixes.append(fix(T0, T0 + HOUR_NS, 60 * NS))
    assert int(kept.retimed.rollup([WRONG], T0, T0 + DAY_NS, HOUR_NS).samples.sum()) == 60
    kept.store.close()


class Wrapped(Folder):
    """Stores in one folder; who reads, reads through a fix of a source that none of the tags has."""

    def reader(self) -> Retimed:  # type: ignore[override]
        return Retimed(super().reader(), lambda: [fix(0, 2**62, NS, source="another")])


class TestRetimed(Conformance):
    @pytest.fixture
    def house(self, tmp_path: Path) -> Iterator[Wrapped]:
        found = Wrapped(tmp_path)
        yield found
        found.close()
