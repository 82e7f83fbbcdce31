"""Judging again gives the same journal: whatever came, however often it was stopped, whoever acted."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from historian.frame import NS, Frame
from rules.engine import Engine
from rules.entry import Act, ActKind, Entry, EntryKind
from rules.journal import Journal
from rules.replay import difference, judged_until, replay, replay_by_source_time
from rules.resume import follow_acts, resume
from tests.rules.toys import PATHS, T0, Over, frame_at, make_detectors, tags_of

RULES = (EntryKind.FINDING, EntryKind.TRANSITION, EntryKind.ACT_TAKEN, EntryKind.REFUSED)
INLET, PLATE, FLOW = "filter.inlet.pressure", "filter.plate.1.temp", "water.flow"


@contextmanager
def a_journal() -> Iterator[Journal]:
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal.open(Path(folder) / "journal.db")
        # The disk is not what is tested here.
        journal._db.execute("PRAGMA synchronous = OFF")
        try:
            yield journal
        finally:
            journal.close()


@dataclass
class Line:
    """A line at work: frames are stored, then judged; at any time it may stop and start again."""

    journal: Journal
    stored: list[Frame] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.start()

    def start(self) -> None:
        self.engine = Engine(tags_of(), make_detectors)
        after = resume(self.engine, self.journal)
        self.out: list[Entry] = []
        self.acts_read = 0
        # New acts may come before the stored frames are judged again.
        self.follow()
        for seq, frame in enumerate(self.stored, start=1):
            if seq > after:
                self.engine.feed(seq, frame)
                self.out += self.engine.advance(frame.arrival_ns)

    def feed(self, frame: Frame) -> None:
        self.stored.append(frame)
        self.engine.feed(len(self.stored), frame)

    def advance(self, now_ns: int) -> None:
        self.out += self.engine.advance(now_ns)

    def follow(self) -> None:
        self.acts_read = follow_acts(self.engine, self.journal, self.acts_read)

    def keep(self, *, snapshot: bool) -> None:
        self.out += self.engine.advance(0)
        self.journal.append(self.out, (self.engine.seq, 0, self.engine.save()) if snapshot else None)
        self.out = []


_lag_s = st.sampled_from([0.0, 0.0, 0.1, 0.5, 1.5, 5.0, 40.0])
_value = st.sampled_from([10.0, 40.0, 55.0, 60.0, float("nan")])
_samples = st.lists(st.tuples(st.integers(1, 3), _lag_s, _value), max_size=4)
_step_s = st.sampled_from([0.0, 0.1, 0.4, 0.9, 1.0, 1.0, 1.0, 2.5, 4.0, 9.9, 10.0, 10.1, 30.0])
_frame = st.tuples(st.just("frame"), _step_s, _samples, st.sampled_from([0, 0, 0, 0, 0, 1]))
_act = st.tuples(
    st.just("act"),
    st.sampled_from([ActKind.SEEN, ActKind.SHELVE, ActKind.UNSHELVE, ActKind.NOTE, ActKind.OUT_OF_SERVICE]),
    st.sampled_from([("over", INLET), ("over", PLATE), ("silent", FLOW)]),
    st.sampled_from(["operator", "engineer"]),
    st.sampled_from([1, 5, 60]),
)
_other = st.sampled_from(
    [
        ("advance", 0.0),
        ("advance", 0.9),
        ("follow",),
        ("keep", True),
        ("keep", False),
        ("stop",),
        ("restart",),
    ]
)
_steps = st.lists(st.one_of(_frame, _frame, _frame, _act, _other), min_size=5, max_size=60)


def _frames_and(steps: list[tuple[object, ...]]) -> list[tuple[object, ...]]:
    """The steps with each frame built, and each advance at a time before the next frame's arrival."""
    made, arrival_s, ahead_s = [], 1.0, 1.0
    rising = 0
    for n, step in enumerate(steps):
        if step[0] == "frame":
            arrival_s += step[1]  # type: ignore[operator]
            rising = max(rising, step[3])  # type: ignore[call-overload]
            samples = [(t, arrival_s - lag, v) for t, lag, v in step[2]]  # type: ignore[attr-defined]
            made.append(("frame", frame_at(arrival_s, *samples, epoch=rising)))
        else:
            following = next((s[1] for s in steps[n + 1 :] if s[0] == "frame"), 1.0)
            ahead_s = arrival_s + (0.999 * following if step == ("advance", 0.9) else 0.0)  # type: ignore[operator]
            made.append((*step, T0 + round(ahead_s * NS)))
    return made


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_steps)
def test_live_with_stops_equals_replay(steps: list[tuple[object, ...]]) -> None:
    with a_journal() as journal:
        line = Line(journal)
        for step in _frames_and(steps):
            match step:
                case ("frame", frame):
                    line.feed(frame)  # type: ignore[arg-type]
                case ("act", what, (rule, subject), role, length_s, now_ns):
                    until = now_ns + length_s * NS if what is ActKind.SHELVE else None  # type: ignore[operator]
                    act = Act(0, now_ns, "ada", role, what, rule, subject, "why", until, "words")  # type: ignore[arg-type]
                    journal.record_act(act)
                case ("advance", _, now_ns):
                    line.advance(now_ns)  # type: ignore[arg-type]
                case ("follow", _):
                    line.follow()
                case ("keep", snapshot, _):
                    line.keep(snapshot=bool(snapshot))
                case ("stop", _):
                    line.start()
                case ("restart", _):
                    line.keep(snapshot=True)
                    line.start()
        if line.stored:
            line.advance((max(f.arrival_ns for f in line.stored) // NS + 1) * NS)
        line.keep(snapshot=True)
        live = [e for _, e in journal.entries_after(0) if e.kind in RULES]
        frames = enumerate(line.stored, start=1)
        again = replay(frames, tags_of(), make_detectors, journal.acts_after(0), journal.taken())
        assert [e for e in again if e.kind in RULES] == live


def _busy() -> list[Frame]:
    """A minute in which every toy has something to say."""
    values = [60.0 if 10 <= s < 40 else 20.0 for s in range(60)]
    return [
        frame_at(s + 0.5, (1, s + 0.2, v), (2, s + 0.2, v), *([(3, s + 0.2, 1.0)] if s < 45 else []))
        for s, v in enumerate(values)
    ]


def _again(frames: list[Frame], until_ns: int | None = None) -> list[Entry]:
    return list(replay(enumerate(frames, start=1), tags_of(), make_detectors, until_ns=until_ns))


def test_a_busy_minute_has_something_to_compare() -> None:
    entries = _again(_busy())
    assert [(e.rule, e.subject, e.data["active"]) for e in entries if e.kind is EntryKind.FINDING] == [
        ("over", INLET, True),
        ("over", PLATE, True),
        ("over", INLET, False),
        ("over", PLATE, False),
        ("silent", FLOW, True),
    ]


def test_acts_that_were_never_taken_are_left_out() -> None:
    frames = list(enumerate(_busy(), start=1))
    seen = Act(1, T0, "ada", "operator", ActKind.SEEN, "over", INLET)
    acts = [seen, replace(seen, id=2)]
    entries = list(replay(frames, tags_of(), make_detectors, acts, {1: T0 // NS + 20}))
    assert [e.data["act"] for e in entries if e.kind is EntryKind.ACT_TAKEN] == [1]
    assert [e.by for e in entries if e.kind is EntryKind.TRANSITION and e.data["event"] == "seen"] == ["ada"]


def test_until_judges_whole_seconds_only() -> None:
    frames, whole = _busy(), _again(_busy())
    for until_ns in (T0 + 10 * NS, T0 + 11 * NS - 1, T0 + 11 * NS, T0 + 12 * NS + 1):
        assert _again(frames, until_ns) == judged_until(whole, until_ns)
    assert len(_again(frames, T0 + 11 * NS)) == 2
    assert len(_again(frames, T0 + 11 * NS - 1)) == 0


def test_by_source_time_late_samples_count_as_if_they_had_come_at_once() -> None:
    frames = _busy()
    held_back, rest = frames[10:40], [*frames[:10], *frames[40:]]
    late = [Frame(f.tag, f.time_ns, f.value, f.quality, T0 + 70 * NS) for f in held_back]
    numbered = list(enumerate([*rest, *late], start=1))
    in_time = list(replay_by_source_time(numbered, tags_of(), make_detectors))
    assert difference(in_time, _again(frames)) == []
    as_it_came = list(replay(numbered, tags_of(), make_detectors))
    assert {e.data["late"] for e in as_it_came if e.kind is EntryKind.FINDING and e.rule == "over"} == {True}
    assert difference(as_it_came, _again(frames)) != []


def test_by_source_time_the_last_written_of_the_later_epoch_counts() -> None:
    frames = [
        frame_at(1.0, (1, 0.5, 60.0), epoch=1),
        frame_at(2.0, (1, 0.5, 10.0)),
        frame_at(3.0, (1, 1.5, 10.0)),
        frame_at(4.0, (1, 1.5, 60.0)),
    ]
    entries = list(
        replay_by_source_time(enumerate(frames, start=1), tags_of(), lambda: [Over(PATHS[0], 50, 0)])
    )
    found = [(e.time_ns - T0, e.data["active"]) for e in entries if e.kind is EntryKind.FINDING]
    assert found == [(NS // 2, True)]


@pytest.mark.parametrize("by", [replay, replay_by_source_time])
def test_nothing_stored_says_nothing(by: object) -> None:
    assert list(by([], tags_of(), make_detectors)) == []  # type: ignore[operator]


def test_differences_are_told_in_words() -> None:
    ours = _again(_busy())
    assert difference(ours, ours) == []
    first = ours[0]
    other = replace(first, data={**first.data, "sentence": "Something else."})
    (words,) = difference(ours, [other, *ours[1:]])
    assert (
        "2023-11-14T22:13:30.2" in words and "sentence is 'Over 50.0' there, 'Something else.' here" in words
    )
    (lacking,) = difference(ours, ours[1:])
    assert lacking.endswith(f"finding over of {INLET}: only in the first (began)")
    (extra,) = difference(ours[:1] + ours[2:], ours)
    assert extra.endswith("only in the second (normal → unacknowledged)")
    assert difference([], [replace(first, kind=EntryKind.NOTE)]) == []


def test_an_act_that_was_not_read_before_a_stop_is_taken_after_what_is_journaled() -> None:
    with a_journal() as journal:
        line = Line(journal)
        line.feed(frame_at(1.5, (1, 1.2, 60.0)))
        journal.record_act(Act(0, T0 + NS, "ada", "operator", ActKind.SEEN, "over", INLET))
        line.feed(frame_at(2.5, (1, 2.2, 10.0)))
        line.feed(frame_at(3.5))
        line.keep(snapshot=False)
        line.start()
        line.advance(T0 + 4 * NS)
        line.keep(snapshot=True)
        live = [e for _, e in journal.entries_after(0) if e.kind in RULES]
        steps = [
            (e.second, e.data["from"] + e.data["to"])
            for e in live
            if e.kind is EntryKind.TRANSITION and e.rule == "over"
        ]
        assert [(s - T0 // NS, step) for s, step in steps if s] == [(1, "AB"), (2, "BD"), (3, "DA")]
        frames = enumerate(line.stored, start=1)
        again = replay(frames, tags_of(), make_detectors, journal.acts_after(0), journal.taken())
        assert [e for e in again if e.kind in RULES] == live
