"""Operating points: cut where something is set otherwise, told apart by settings, screen and lot."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from historian.frame import NS, Series
from process.phase_names import MATERIAL_CHANGE, RUNNING, STEADY
from process.phases import Phase
from rules.finding import Priority
from rules.review import Window
from trials.bars import AlarmBar
from trials.outcome.outcome import Excluded, Stretch
from trials.outcome.points import FLUSH_S, excluded_time, stretches_of
from trials.record.book import Book, book_of
from trials.record.entries import Entry, What
from trials.sittings import Sitting

MIN = 60 * NS
DAY = (Sitting(1, 0, 600 * MIN),)


def phase(name: str, start_min: float, end_min: float) -> Phase:
    return Phase(name, round(start_min * MIN), round(end_min * MIN), "")


def book(*told: tuple[What, float, Mapping[str, Any]]) -> Book:
    return book_of(
        Entry(n, 1, what, round(at_min * MIN), 0, "ada", data)
        for n, (what, at_min, data) in enumerate(told, start=1)
    )


def held(*turns: tuple[float, float]) -> Series:
    return Series.of([round(at * MIN) for at, _ in turns], [v for _, v in turns], 0)


def minutes(stretch: Stretch) -> list[tuple[float, float]]:
    return [(w.start_ns / MIN, w.end_ns / MIN) for w in stretch.windows]


def test_a_turned_setting_ends_a_point_and_to_come_back_goes_on_with_it() -> None:
    feed = held((0, 780), (100, 640), (200, 781))
    found = stretches_of([phase(STEADY, 10, 300)], [], DAY, book(), {"doser.rate.sp": feed})
    assert [(s.number, minutes(s)) for s in found] == [
        (1, [(10, 100)]),
        (2, [(100, 200)]),
        (1, [(200, 300)]),  # 781 is as good as 780
    ]
    assert found[1].settings == {"doser.rate.sp": 640}


def test_half_a_kelvin_is_the_same_and_two_are_not() -> None:
    path = "extruder.zone.3.temp.sp"
    for to, points in ((205.4, 1), (207.0, 2)):
        found = stretches_of([phase(STEADY, 0, 100)], [], DAY, book(), {path: held((0, 205), (50, to))})
        assert len({s.number for s in found}) == points


def test_steps_too_small_to_count_are_one_turn_when_they_add_up() -> None:
    feed = held(*[(10.0 * n, 600.0 + 7 * n) for n in range(10)])
    found = stretches_of([phase(STEADY, 0, 100)], [], DAY, book(), {"doser.rate.sp": feed})
    assert len({s.number for s in found}) > 1


def test_screen_and_lot_tell_points_apart_and_the_first_was_in_from_the_start() -> None:
    told = book(
        (What.SCREEN, 5, {"serial": "A", "fineness": "110 um"}),
        (What.LOT, 5, {"lot": "1", "bale": "7"}),
        (What.LOT, 60, {"lot": "1", "bale": "8"}),
        (What.SCREEN, 120, {"serial": "B", "fineness": "110 um"}),
    )
    found = stretches_of([phase(STEADY, 0, 200)], [], DAY, told, {})
    assert [(s.number, s.screen, s.lot, minutes(s)) for s in found] == [
        (1, "A", "1, bale 7", [(0, 5), (5, 60)]),
        (2, "A", "1, bale 8", [(60, 120)]),
        (3, "B", "1, bale 8", [(120, 200)]),
    ]


def test_each_sitting_has_its_own_stretch_of_one_point() -> None:
    nights = (Sitting(1, 0, 100 * MIN), Sitting(2, 150 * MIN, 300 * MIN))
    found = stretches_of([phase(STEADY, 0, 300)], [], nights, book(), {"doser.rate.sp": held((0, 780))})
    assert [(s.number, s.sitting, minutes(s)) for s in found] == [(1, 1, [(0, 100)]), (1, 2, [(150, 300)])]


def test_what_must_not_count_says_why_and_a_torn_screen_counts_until_another_is_in() -> None:
    told = book(
        (What.SCREEN, 0, {"serial": "A", "fineness": "110 um"}),
        (What.LOT, 0, {"lot": "1"}),
        (What.LOT, 50, {"lot": "2"}),
        (What.LOT, 55, {"lot": "2"}),
        (What.SCREEN, 150, {"serial": "B", "fineness": "110 um"}),
    )
    bars = [
        AlarmBar("screen-torn", "filter", Priority.HIGH, "", 100 * MIN, end_ns=110 * MIN, ended="returned"),
        AlarmBar("plate-out", "filter.plate.3", Priority.HIGH, "", 180 * MIN),
        AlarmBar("dirt-step", "filter", Priority.LOW, "", 190 * MIN),
    ]
    found = excluded_time([phase(MATERIAL_CHANGE, 20, 30), phase(RUNNING, 30, 40)], bars, told, 200 * MIN)
    assert [(e.why, e.window.start_ns // MIN, e.window.end_ns / MIN) for e in found] == [
        ("the material was changed", 20, 30),
        ("another lot was on its way through", 50, 50 + FLUSH_S / 60),
        ("the screen was torn", 100, 150),
        ("a heater plate was out of use", 180, 200),
    ]


@given(
    turns=st.lists(st.tuples(st.integers(0, 600), st.sampled_from([600.0, 640.0, 780.0])), max_size=12),
    bounds=st.lists(st.integers(0, 600), min_size=2, max_size=8, unique=True),
    out=st.tuples(st.integers(0, 600), st.integers(0, 600)),
)
def test_no_window_holds_two_settings_or_time_that_is_excluded(
    turns: list[tuple[int, float]], bounds: list[int], out: tuple[int, int]
) -> None:
    edges = sorted(bounds)
    phases = [phase(STEADY, a, b) for a, b in zip(edges[::2], edges[1::2], strict=False)]
    feed = held(*sorted({at: (float(at), v) for at, v in turns}.values()))
    excluded = [Excluded(Window(min(out) * MIN, max(out) * MIN), "")]
    found = stretches_of(phases, excluded, DAY, book(), {"doser.rate.sp": feed})
    for stretch in found:
        for window in stretch.windows:
            assert any(p.start_ns <= window.start_ns < window.end_ns <= p.end_ns for p in phases)
            assert window.end_ns <= min(out) * MIN or window.start_ns >= max(out) * MIN
            at = feed.time_ns
            inside = set(feed.value[(at > window.start_ns) & (at < window.end_ns)].tolist())
            before = feed.value[at <= window.start_ns]
            assert inside <= ({before[-1]} if len(before) else inside)
    by_number = {s.number: dict(s.settings) for s in found}
    assert all(by_number[s.number] == dict(s.settings) for s in found)
    assert len({tuple(v.items()) for v in by_number.values()}) == len(by_number)
