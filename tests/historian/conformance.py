"""What every kind of store must answer. A test class of a store inherits this and gives a fixture ``house``."""

from __future__ import annotations

from collections import Counter
from typing import Protocol

import numpy as np
import pytest

from historian import NS, Frame, Store, Tag, TagKind, UnitMismatch, UnknownTag
from historian.aggregates import Aggregate, AggregateConfig
from historian.quality import BAD, GOOD, LAST_USABLE, NO_DATA, RANGE_EXCEEDED, SENSOR_FAILURE, UNCERTAIN
from historian.rollups.columns import COLUMNS, DTYPES, rollup_of
from historian.store import Modified

PATHS = ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv")
TAGS = [Tag(p, "bar", reference="gauge") for p in PATHS]
COLUMNS_OF_A_SERIES = ("time_ns", "value", "quality")
BASE_NS = 1_760_000_000 * NS + 123_456_789


class House(Protocol):
    """Gives stores of one line."""

    def writer(self) -> Store: ...

    def reader(self) -> Store: ...


def scan(second: float, value: float = 1.0, *, arrival_s: float | None = None, epoch: int = 0) -> Frame:
    """Both tags once; the second one's value is the first one's, negative."""
    time_ns = BASE_NS + int(second * NS)
    arrival_ns = BASE_NS + int((second if arrival_s is None else arrival_s) * NS)
    return Frame.of([1, 2], [time_ns] * 2, [value, -value], [0, 0], arrival_ns=arrival_ns, clock_epoch=epoch)


def seconds(*numbers: float) -> list[int]:
    return [BASE_NS + int(n * NS) for n in numbers]


def random_frames(seed: int, count: int = 40) -> list[Frame]:
    """Frames with everything in them: doubles, late samples, epochs, every kind of quality, emptiness."""
    chance = np.random.default_rng(seed)
    qualities = np.array([GOOD, LAST_USABLE, RANGE_EXCEEDED, NO_DATA, SENSOR_FAILURE, BAD], dtype=np.uint32)
    found = []
    for number in range(count):
        n = int(chance.integers(0, 12))
        quality = qualities[chance.integers(0, len(qualities), n)]
        value = chance.normal(scale=10.0 ** chance.integers(-12, 12), size=n)
        value[quality == NO_DATA] = np.nan
        value[chance.random(n) < 0.05] = np.inf
        found.append(
            Frame.of(
                chance.integers(1, 3, n),
                BASE_NS + chance.integers(0, 30, n) * NS // 3,
                value,
                quality,
                arrival_ns=BASE_NS + number * NS // 2,
                clock_epoch=int(chance.integers(0, 2)),
            )
        )
    return found


def expected(frames: list[Frame], tag: int, start_ns: int, end_ns: int) -> list[tuple[int, int, float, int]]:
    """What ``read`` must give, written down once more: (time, number, value, quality) of the last writes."""
    kept: dict[tuple[int, int], tuple[int, float, int]] = {}
    for count, frame in enumerate(frames, 1):
        for number, time_ns, value, quality in zip(
            frame.tag.tolist(),
            frame.time_ns.tolist(),
            frame.value.tolist(),
            frame.quality.tolist(),
            strict=True,
        ):
            if number == tag and start_ns <= time_ns < end_ns:
                kept[time_ns, frame.clock_epoch] = count, value, quality
    epochs = Counter(time_ns for time_ns, _ in kept)
    found = sorted((t, count, v, q) for (t, _), (count, v, q) in kept.items())
    return [
        (t, count, v, q | UNCERTAIN if epochs[t] > 1 and q < UNCERTAIN else q) for t, count, v, q in found
    ]


class Conformance:
    """The tests."""

    def test_a_reader_sees_a_frame_as_soon_as_append_returns(self, house: House) -> None:
        writer = house.writer()
        writer.register(TAGS)
        reader = house.reader()
        assert reader.latest() == {}
        assert reader.span() is None
        assert reader.last_number() == 0
        assert writer.append(scan(1), scan(2)) == 2
        assert reader.latest()[PATHS[0]].time_ns == seconds(2)[0]
        series = reader.read([PATHS[1]], *seconds(0, 10))[PATHS[1]]
        assert series.value.tolist() == [-1.0, -1.0]
        assert reader.span() == tuple(seconds(1, 2))
        assert reader.last_number() == 2

    @pytest.mark.parametrize("seed", range(5))
    def test_what_was_appended_comes_back(self, house: House, seed: int) -> None:
        store = house.writer()
        store.register(TAGS)
        frames = random_frames(seed)
        for at in range(0, len(frames), 3):
            store.append(*frames[at : at + 3])
        start_ns, end_ns = seconds(2, 9)
        found = store.read(PATHS, start_ns, end_ns)
        for tag, path in enumerate(PATHS, 1):
            rows = expected(frames, tag, start_ns, end_ns)
            assert rows
            assert found[path].time_ns.dtype == np.int64
            assert found[path].time_ns.tolist() == [r[0] for r in rows]
            assert found[path].quality.tolist() == [r[3] for r in rows]
            np.testing.assert_array_equal(found[path].value, [r[2] for r in rows])

    def test_frames_come_back_in_order_of_arrival_and_whole(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        frames = random_frames(77, 60)
        assert store.append(*frames[:50]) == 50
        assert [store.append(f) for f in frames[50:]] == list(range(51, 61))
        back = list(house.reader().frames())
        assert [n for n, _ in back] == list(range(1, 61))
        for (_, found), kept in zip(back, frames, strict=True):
            assert (found.arrival_ns, found.clock_epoch) == (kept.arrival_ns, kept.clock_epoch)
            for column in ("tag", "time_ns", "value", "quality"):
                np.testing.assert_array_equal(getattr(found, column), getattr(kept, column))
        assert (
            [n for n, _ in store.frames(55)]
            == [n for n, _ in house.reader().frames(55)]
            == list(range(56, 61))
        )
        assert list(store.frames(60)) == []

    def test_a_reader_follows_from_where_it_stood(self, house: House) -> None:
        store, reader = house.writer(), house.reader()
        store.register(TAGS)
        at, seen = 0, []
        for second in range(4):
            store.append(scan(second, arrival_s=5 - second), scan(second + 0.5, arrival_s=5 - second))
            for number, _ in reader.frames(at):
                at = number
                seen.append(number)
        assert seen == list(range(1, 9))

    def test_the_last_write_of_a_double_is_read(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(scan(5, 1.0), scan(5, 2.0))
        assert store.read(PATHS, *seconds(0, 10))[PATHS[0]].value.tolist() == [2.0]
        store.append(scan(5, 3.0))
        assert store.read(PATHS, *seconds(0, 10))[PATHS[1]].value.tolist() == [-3.0]

    def test_a_bad_sample_that_overwrites_a_good_one_has_no_value(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(scan(5, 1.0))
        store.append(Frame.of([1], seconds(5), [np.nan], [NO_DATA], arrival_ns=seconds(6)[0]))
        found = store.read([PATHS[0]], *seconds(0, 10))[PATHS[0]]
        assert found.quality.tolist() == [NO_DATA]
        assert np.isnan(found.value).tolist() == [True]
        assert np.isnan(store.latest()[PATHS[0]].value)
        store.append(scan(5, 4.0))
        assert store.read([PATHS[0]], *seconds(0, 10))[PATHS[0]].value.tolist() == [4.0]

    def test_doubles_across_clock_epochs_are_both_kept_and_neither_is_sure(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(scan(5, 1.0), scan(5, 2.0, epoch=1), scan(6, 3.0, epoch=1))
        found = store.read([PATHS[0]], *seconds(0, 10))[PATHS[0]]
        assert found.value.tolist() == [1.0, 2.0, 3.0]
        assert found.quality.tolist() == [UNCERTAIN, UNCERTAIN, GOOD]
        store.append(scan(6, 4.0))
        found = store.read([PATHS[0]], *seconds(6, 10))[PATHS[0]]
        assert found.value.tolist() == [3.0, 4.0]  # in order of arrival, not of epochs
        assert found.quality.tolist() == [UNCERTAIN, UNCERTAIN]
        store.append(Frame.of([1], seconds(5), [np.nan], [NO_DATA], arrival_ns=seconds(7)[0]))
        found = store.read([PATHS[0]], *seconds(5, 6))[PATHS[0]]
        assert found.quality.tolist() == [UNCERTAIN, NO_DATA]

    def test_what_later_writes_replaced_is_told(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(*(scan(second, second / 4, arrival_s=10) for second in range(4, 9)))
        store.append(scan(5, 2.0, arrival_s=20))
        store.append(scan(7, 7 / 4, arrival_s=30))  # the same again: nothing was modified
        store.append(scan(8, 8.0, arrival_s=31, epoch=1))  # another clock: both stay
        gap = Frame.of([1], seconds(4), [np.nan], [NO_DATA], arrival_ns=seconds(40)[0])
        store.append(gap, scan(6, 4.0, arrival_s=41))
        reader = house.reader()
        came, *replaced = seconds(10, 40, 20, 41)
        # OPC 10000-11, 6.5.3: what was there before each change, with the time of the change.
        wanted = [
            Modified(time_ns, second / 4, GOOD, came, replaced_ns)
            for second, time_ns, replaced_ns in zip((4, 5, 6), seconds(4, 5, 6), replaced, strict=True)
        ]
        assert reader.modified(PATHS[0], *seconds(0, 10)) == wanted
        assert [m.value for m in reader.modified(PATHS[1], *seconds(0, 10))] == [-1.25, -1.5]
        assert reader.modified(PATHS[0], *seconds(7, 10)) == []
        assert reader.modified(PATHS[0], *seconds(5, 6)) == wanted[1:2]
        store.append(scan(4, 2.5, arrival_s=50))
        (again,) = [m for m in house.reader().modified(PATHS[0], *seconds(4, 5)) if np.isnan(m.value)]
        assert (again.quality, again.arrival_ns, again.replaced_ns) == (NO_DATA, *seconds(40, 50))

    def test_the_latest_is_the_newest_by_source_time(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(scan(9, 9.0), scan(3, 3.0, arrival_s=10))
        assert store.read([PATHS[0]], *seconds(0, 10))[PATHS[0]].value.tolist() == [3.0, 9.0]
        newest = store.latest([PATHS[0]])
        assert list(newest) == [PATHS[0]]
        assert (newest[PATHS[0]].value, newest[PATHS[0]].arrival_ns) == (9.0, seconds(9)[0])
        store.append(scan(4, 4.0, arrival_s=10.5, epoch=1))
        assert store.latest([PATHS[0]])[PATHS[0]].value == 9.0
        store.append(scan(9, 10.0, arrival_s=11, epoch=1))
        assert store.latest([PATHS[0]])[PATHS[0]].value == 10.0
        assert store.latest([]) == {}

    def test_a_window_takes_its_start_and_leaves_its_end(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(*(scan(s, float(s)) for s in range(5)))
        start_ns, end_ns = seconds(1, 3)
        found = store.read([PATHS[0]], start_ns, end_ns)
        assert found[PATHS[0]].value.tolist() == [1.0, 2.0]
        found = store.read([PATHS[0]], start_ns + 1, end_ns + 1)
        assert found[PATHS[0]].value.tolist() == [2.0, 3.0]
        assert len(store.read([PATHS[0]], end_ns, start_ns)[PATHS[0]]) == 0

    def test_nanoseconds_are_kept(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        times = [BASE_NS, BASE_NS + 1, BASE_NS + 2]
        store.append(Frame.of([1] * 3, times, [1.0, 2.0, 3.0], [0] * 3, arrival_ns=BASE_NS + 3))
        assert store.read([PATHS[0]], BASE_NS, BASE_NS + 9)[PATHS[0]].time_ns.tolist() == times
        assert store.latest()[PATHS[0]].arrival_ns == BASE_NS + 3

    def test_a_window_can_have_the_value_before_it(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(scan(90, 3.0), scan(100, 4.0), scan(250, 5.0))
        found = store.read(PATHS, *seconds(200, 300), bound_before=True)
        assert found[PATHS[0]].time_ns.tolist() == seconds(100, 250)
        assert found[PATHS[1]].value.tolist() == [-4.0, -5.0]
        assert len(store.read(PATHS, *seconds(200, 250))[PATHS[0]]) == 0
        assert len(store.read(PATHS, *seconds(2000, 3000), bound_before=True)[PATHS[0]]) == 0

    def test_a_gap_is_drawn_as_a_gap(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        gap = Frame.of([1], [seconds(5)[0] + 1], [np.nan], [NO_DATA], arrival_ns=seconds(6)[0])
        store.append(scan(5), gap, scan(60))
        outline = store.envelope(PATHS[0], *seconds(0, 100), 10)
        assert np.isnan(outline.value).tolist() == [False, True, False]

    def test_aggregates_are_those_of_the_samples(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(*(scan(s, float(s)) for s in range(20)))
        rows = store.aggregate(PATHS[0], *seconds(0, 20), 10 * NS, Aggregate.AVERAGE)
        assert [row.value for row in rows] == [4.5, 14.5]

    def test_aggregates_know_what_lies_before_and_after(self, house: House) -> None:
        store = house.writer()
        held = Tag("filter.valve.state", "1", TagKind.CODE)
        number = store.register([*TAGS, held])[held.path].id
        far_s = 40 * 86_400
        for second, value in ((-far_s, 0.0), (far_s, 10.0)):
            time_ns = seconds(second)[0]
            store.append(
                Frame.of([1, number], [time_ns] * 2, [value] * 2, [0, 0], arrival_ns=time_ns),
            )
        window = (*seconds(0, 10), 10 * NS)
        kind = Aggregate.INTERPOLATIVE
        assert [r.value for r in store.aggregate(PATHS[0], *window, kind)] == [5.0]
        assert [r.value for r in store.aggregate(held.path, *window, kind)] == [0.0]

    def test_aggregates_follow_their_configuration(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        unsure = Frame.of([1], seconds(4), [9.0], [LAST_USABLE], arrival_ns=seconds(4)[0])
        store.append(scan(2, 1.0), unsure, scan(11, 1.0))
        window, kind = (*seconds(0, 10), 10 * NS), Aggregate.PERCENT_BAD
        strict = AggregateConfig(treat_uncertain_as_bad=True)
        assert [r.value for r in store.aggregate(PATHS[0], *window, kind, config=strict)] == [80.0]
        loose = AggregateConfig(treat_uncertain_as_bad=False)
        assert [r.value for r in store.aggregate(PATHS[0], *window, kind, config=loose)] == [20.0]

    def test_the_last_line_is_drawn_on_where_asked_however_far_it_began(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(scan(0, 0.0), scan(36_000, 10.0))
        window, kind = (*seconds(36_360, 36_370), 10 * NS), Aggregate.INTERPOLATIVE
        held, sloped = (AggregateConfig(use_sloped_extrapolation=s) for s in (False, True))
        assert [r.value for r in store.aggregate(PATHS[0], *window, kind, config=held)] == [10.0]
        (row,) = store.aggregate(PATHS[0], *window, kind, config=sloped)
        assert row.value == pytest.approx(10.1)

    @pytest.mark.parametrize("seed", range(3))
    def test_rollups_are_those_of_the_samples(self, house: House, seed: int) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(*random_frames(seed))
        store.append(*(scan(s, float(s)) for s in range(100, 4000, 61)))
        for window, interval_ns in (
            (seconds(1.5, 8), 2 * NS),
            (seconds(-5, 9000), 60 * NS),
            (seconds(0, 3000.1), 3600 * NS),
            (seconds(0, 3000.1), 7 * NS),
        ):
            series = store.read(PATHS, *window)
            wanted = rollup_of(
                np.repeat(np.array([1, 2], np.int32), [len(series[p]) for p in PATHS]),
                *(np.concatenate([getattr(series[p], c) for p in PATHS]) for c in COLUMNS_OF_A_SERIES),
                interval_ns,
            )
            found = store.rollup(PATHS[::-1], *window, interval_ns)
            assert len(wanted) > 1
            for name in COLUMNS:
                given = getattr(found, name)
                assert given.dtype == DTYPES[name]
                np.testing.assert_allclose(given, getattr(wanted, name), rtol=1e-12, err_msg=name)
        assert len(store.rollup(PATHS, *seconds(8000, 9000), NS)) == 0

    def test_a_long_window_can_be_read_piece_by_piece(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        times = BASE_NS + np.arange(4000) * NS
        values = np.arange(4000.0)
        good = np.zeros(4000)
        store.append(Frame.of(np.ones(4000), times, values, good, arrival_ns=BASE_NS))
        store.append(Frame.of(np.full(4000, 2), times, -values, good, arrival_ns=BASE_NS), scan(500_000))
        window = (-(2**62), 2**62)
        pieces = list(store.blocks(PATHS, *window, samples=400))
        whole = store.read(PATHS, *window)
        for path in PATHS:
            for column in COLUMNS_OF_A_SERIES:
                joined = np.concatenate([getattr(piece[path], column) for piece in pieces])
                np.testing.assert_array_equal(joined, getattr(whole[path], column))
        sizes = [sum(map(len, piece.values())) for piece in pieces]
        assert len(sizes) > 10
        assert max(sizes[2:]) <= 800
        assert list(store.blocks(PATHS, *seconds(5000, 400_000))) == []

    def test_numbers_of_tags_stay_and_units_cannot_change(self, house: House) -> None:
        store = house.writer()
        first = store.register(TAGS)
        store.close()
        store = house.writer()
        assert store.tags() == first
        again = store.register([Tag("water.flow.pv", "m3/h"), *reversed(TAGS)])
        assert {p: again[p].id for p in PATHS} == {p: first[p].id for p in PATHS}
        assert len({t.id for t in again.values()}) == 3
        with pytest.raises(UnitMismatch, match="kept in bar"):
            store.register([Tag(PATHS[0], "MPa")])

    def test_everything_about_a_tag_is_kept(self, house: House) -> None:
        store = house.writer()
        words = 'Stellung "zu", Druck < 5 \\ 10 bar, ΔT = 3 K\nzweite Zeile'
        tag = Tag(
            "filter.valve.state",
            "1",
            TagKind.CODE,
            words,
            codes={0: "zu", 1: "auf"},
            source="plc",
            simulated=True,
        )
        kept = store.register([tag])
        assert house.reader().tags() == kept
        assert kept[tag.path].text == words
        changed = store.register([Tag(tag.path, "1", TagKind.CODE, "anders")])
        assert house.reader().tags() == changed
        assert changed[tag.path].text == "anders"

    def test_an_unknown_tag_names_the_nearest(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        for ask in (store.latest, lambda paths: store.read(paths, 0, 1)):
            with pytest.raises(UnknownTag, match=r"nearest known one is filter\.inlet\.pressure\.pv"):
                ask(["filter.inlet.presure.pv"])

    def test_a_writer_goes_on_where_it_ended(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        store.append(scan(1), scan(2))
        store.close()
        store = house.writer()
        assert store.last_number() == 2
        assert store.append() == 2
        assert store.append(scan(3)) == 3
        assert len(house.reader().read(PATHS, *seconds(0, 10))[PATHS[0]]) == 3

    def test_an_empty_frame_counts(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        empty = Frame.of([], [], [], [], arrival_ns=BASE_NS)
        assert store.append(scan(1), empty, scan(2)) == 3
        assert [len(f) for _, f in house.reader().frames()] == [2, 0, 2]

    def test_a_large_frame_comes_back_whole(self, house: House) -> None:
        store = house.writer()
        store.register(TAGS)
        n = 12_000
        noise = np.random.default_rng(3).normal(size=n)
        times = BASE_NS + np.arange(n) * 1_000_003
        store.append(Frame.of(np.ones(n), times, noise, np.zeros(n), arrival_ns=BASE_NS + 20 * NS))
        store.append(scan(30))
        found = house.reader().read([PATHS[0]], BASE_NS, BASE_NS + 20 * NS)[PATHS[0]]
        np.testing.assert_array_equal(found.time_ns, times)
        np.testing.assert_array_equal(found.value, noise)
        (_, frame), (number, _) = house.reader().frames()
        np.testing.assert_array_equal(frame.value, noise)
        assert number == 2
