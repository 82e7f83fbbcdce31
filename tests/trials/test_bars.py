"""Alarm bars, from the transitions of a real life cycle."""

from __future__ import annotations

from rules.entry import Act, ActKind, Entry, EntryKind
from rules.finding import Priority
from rules.lifecycle import LifeCycle, Refusal
from tests.rules.toys import T0, finding
from trials.bars import AlarmBar, alarm_bars

MIN = 60_000_000_000


class Told:
    """A life cycle whose changes are written down, minutes after T0."""

    def __init__(self) -> None:
        self.life = LifeCycle()
        self.entries: list[Entry] = []

    def found(
        self, minute: int, active: bool = True, priority: Priority = Priority.LOW, **words: str
    ) -> None:
        one = finding(active, priority=priority, time_ns=T0 + minute * MIN, **words)  # type: ignore[arg-type]
        self._write(self.life.finding(one, T0 + minute * MIN))

    def act(self, minute: int, what: ActKind, until: int | None = None) -> None:
        until_ns = None if until is None else T0 + until * MIN
        at_ns = T0 + minute * MIN
        self._write(
            self.life.act(
                Act(1, at_ns, "ada", "engineer", what, "over", "filter.inlet", "why", until_ns), at_ns
            )
        )

    def _write(self, changes: object) -> None:
        for change in changes:  # type: ignore[attr-defined]
            assert not isinstance(change, Refusal), change.reason
            key = f"1/transition/{len(self.entries)}"
            self.entries.append(
                Entry(
                    key,
                    change.time_ns,
                    EntryKind.TRANSITION,
                    change.rule,
                    change.subject,
                    "",
                    change.to_json(),
                )
            )

    def bars(self, skip: int = 0) -> list[tuple[object, ...]]:
        def minute(time_ns: int | None) -> int | None:
            return None if time_ns is None else (time_ns - T0) // MIN

        found = alarm_bars(self.entries[skip:])
        return [(minute(b.start_ns), minute(b.seen_ns), minute(b.end_ns), b.ended) for b in found]


def late_finding(minute: int, active: bool = True, **words: object) -> Entry:
    one = finding(active, time_ns=T0 + minute * MIN, late=True, **words)  # type: ignore[arg-type]
    return Entry(f"{minute}", one.time_ns, EntryKind.FINDING, one.rule, one.subject, "", one.to_json())


def test_seen_and_returned() -> None:
    told = Told()
    told.found(1)
    assert told.bars() == [(1, None, None, "")]
    told.act(3, ActKind.SEEN)
    assert told.bars() == [(1, 3, None, "")]
    told.found(5, False)
    assert told.bars() == [(1, 3, 5, "returned")]


def test_seen_after_it_returned() -> None:
    told = Told()
    told.found(1)
    told.found(5, False)
    told.act(9, ActKind.SEEN)
    assert told.bars() == [(1, 9, 5, "returned")]


def test_each_time_is_a_bar_of_its_own() -> None:
    told = Told()
    told.found(1)
    told.found(2, False)
    told.found(4)
    told.act(5, ActKind.SEEN)
    told.found(6, priority=Priority.HIGH)
    assert told.bars() == [(1, None, 2, "returned"), (4, 5, 6, "re-alarm"), (6, None, None, "")]


def test_a_shelf_ends_the_bar_and_its_end_begins_another() -> None:
    told = Told()
    told.found(1)
    told.act(2, ActKind.SHELVE, until=30)
    told.act(10, ActKind.UNSHELVE)
    assert told.bars() == [(1, None, 2, "shelved"), (10, None, None, "")]


def test_newer_words_and_the_highest_priority_stay() -> None:
    told = Told()
    told.found(1, priority=Priority.MEDIUM, sentence="first")
    told.found(2, priority=Priority.LOW, sentence="second")
    (bar,) = alarm_bars(told.entries)
    assert (bar.priority, bar.sentence) == (Priority.MEDIUM, "second")


def test_what_was_raised_before_the_first_entry_begins_with_its_condition() -> None:
    told = Told()
    told.found(1)
    told.act(3, ActKind.SEEN)
    told.found(5, False)
    assert told.bars(skip=1) == [(1, 3, 5, "returned")]
    assert told.bars(skip=2) == [(1, 1, 5, "returned")]


def test_late_findings_are_late_bars() -> None:
    entries = [late_finding(3), late_finding(7, False), late_finding(9), late_finding(1)]
    bars = alarm_bars(entries)
    assert all(b.late and b.seen_ns is None for b in bars)
    assert [((b.start_ns - T0) // MIN, b.ended) for b in bars] == [(1, ""), (3, "returned"), (9, "")]


def test_findings_that_call_nobody_are_no_bars() -> None:
    assert alarm_bars([late_finding(3, momentary=True), late_finding(4, priority=Priority.JOURNAL)]) == []


def test_which_bars_meet_a_stretch() -> None:
    bar = AlarmBar("over", "filter.inlet", Priority.LOW, "", 10, None, 20, "returned")
    assert [bar.meets(*s) for s in ((0, 10), (0, 11), (20, 30), (21, 30), (12, 13))] == [
        False,
        True,
        True,
        False,
        True,
    ]
    assert AlarmBar("over", "filter.inlet", Priority.LOW, "", 10).meets(99, 100)
