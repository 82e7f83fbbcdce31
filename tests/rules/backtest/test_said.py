"""From the journal's entries to what was said: begin, end, roots, blind spells."""

from __future__ import annotations

from collections.abc import Iterator

from historian.frame import NS, Frame
from rules.backtest.said import common, joined, length_s, record_of
from rules.engine import Engine
from rules.entry import Entry
from rules.finding import Priority
from tests.rules.toys import T0, frame_at, make_detectors, tags_of


def entries(*frames: Frame) -> Iterator[Entry]:
    engine = Engine(tags_of(), make_detectors)
    for number, frame in enumerate(frames, start=1):
        engine.feed(number, frame)
        yield from engine.advance(frame.arrival_ns)
    yield from engine.advance(frames[-1].arrival_ns + 2 * NS)


def test_begin_and_end_are_one_spell() -> None:
    told = entries(
        *(frame_at(s + 0.5, (1, s, 60.0 if 3 <= s < 6 else 40.0), (3, s, 1.0)) for s in range(1, 9))
    )
    (one,) = record_of(told, ["over"], T0, T0 + 9 * NS).said
    assert (one.rule, one.subject, one.priority) == ("over", "filter.inlet.pressure", Priority.MEDIUM)
    assert (one.found_ns, one.over_ns) == (T0 + 3 * NS, T0 + 6 * NS)


def test_what_stands_at_the_end_has_no_end() -> None:
    told = entries(*(frame_at(s + 0.5, (1, s, 60.0), (3, s, 1.0)) for s in range(1, 4)))
    assert record_of(told, ["over"], T0, T0 + 4 * NS).said[0].over_ns is None


def test_a_source_whose_clock_is_ahead_does_not_make_a_finding_late() -> None:
    """The sample says T0 + 3601 s, but it arrived in the second that ends at T0 + 2 s."""
    told = entries(frame_at(1.5, (1, 3601.0, 60.0), (3, 1.0, 1.0)), frame_at(2.5, (3, 2.0, 1.0)))
    assert record_of(told, ["over"], T0, T0 + 3 * NS).said[0].found_ns == T0 + 2 * NS


def test_what_came_late_is_told_as_late() -> None:
    told = entries(
        frame_at(1.5, (1, 1.0, 40.0), (3, 1.0, 1.0)),
        frame_at(2.5, (1, 2.0, 40.0), (3, 2.0, 1.0)),
        frame_at(3.5, (1, 1.5, 60.0), (3, 3.0, 1.0)),
        frame_at(4.5, (1, 4.0, 40.0), (3, 4.0, 1.0)),
    )
    (one,) = record_of(told, ["over"], T0, T0 + 5 * NS).said
    assert one.late


def test_spans_join_cut_and_meet() -> None:
    assert joined([(5, 9), (0, 3), (2, 4), (4, 5), (20, 30)], 1, 25) == [(1, 9), (20, 25)]
    assert joined([(3, 3), (8, 2)], 0, 10) == []
    assert common([(0, 10), (20, 30)], [(5, 22), (29, 40)]) == [(5, 10), (20, 22), (29, 30)]
    assert length_s([(0, 2 * NS), (3 * NS, 4 * NS)]) == 3.0
