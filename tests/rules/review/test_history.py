"""What became of each alarm, as its entries tell it: announced, active, seen, hidden."""

from __future__ import annotations

from pathlib import Path

from collector.machine_alarms import GONE, AlarmBook, MachineAlarm
from historian.frame import NS
from rules.entry import ActKind, Entry, EntryKind
from rules.finding import Priority
from rules.journal import Journal
from rules.review import OURS, Spell, histories
from rules.review.history import (
    OUT_OF_SERVICE,
    SHELVED,
    SUPPRESSED,
    AlarmHistory,
    Announced,
    origins_of,
    times_of,
)
from rules.review.machines import _GONE
from tests.rules.review.told import MONTH, Told, at


def only(told: Told) -> AlarmHistory:
    (one,) = histories(told.entries)
    return one


def test_a_spell_that_was_seen_and_returned() -> None:
    told = Told()
    told.found(10, True)
    told.act(40, ActKind.SEEN)
    told.found(100, False)
    one = only(told)
    assert one.name == (OURS, "over", "filter.inlet") and one.label == "over of filter.inlet"
    assert one.announced == [Announced(at(10), "medium", True)]
    assert one.active == [Spell(at(10), at(100))] and one.waits == [Spell(at(10), at(40))]
    assert list(one.tags) == ["filter.inlet.pressure.pv"]
    assert not one.all_hidden


def test_newer_words_are_no_announcement_and_a_graver_condition_after_the_acknowledgement_is() -> None:
    told = Told()
    told.found(10, True, priority=Priority.LOW)
    told.found(20, True, priority=Priority.MEDIUM)  # news
    told.act(30, ActKind.SEEN)
    told.found(50, True, priority=Priority.HIGH)  # re-alarm
    assert only(told).announced == [Announced(at(10), "low"), Announced(at(50), "high", came=False)]
    assert only(told).waits == [Spell(at(10), at(30)), Spell(at(50), None)]
    assert times_of([only(told)], MONTH, came=True).tolist() == [at(10)]


def test_who_waits_goes_on_waiting_when_the_alarm_comes_again() -> None:
    told = Told()
    told.spell(10, 20)
    told.found(30, True)
    told.act(45, ActKind.SEEN)
    assert only(told).waits == [Spell(at(10), at(45))]
    assert len(only(told).announced) == 2


def test_what_is_hidden_follows_its_condition_but_is_not_announced() -> None:
    told = Told()
    told.found(0, True)
    told.act(10, ActKind.SHELVE, until=600)
    told.found(100, False)
    told.spell(200, 300)
    told.found(500, True)
    told.passed(600)
    one = only(told)
    assert one.active == [Spell(at(0), at(100)), Spell(at(200), at(300)), Spell(at(500), None)]
    assert one.hidden[SHELVED] == [Spell(at(10), at(600))]
    assert one.announced == [Announced(at(0), "medium"), Announced(at(600), "medium", came=False)]
    assert one.put_aside == [Spell(at(0), at(10))] and one.waits == [Spell(at(600), None)]


def test_a_consequence_is_suppressed_and_not_announced() -> None:
    told = Told()
    told.found(5, True, root=("source-silent", "source.plc"))
    one = only(told)
    assert one.active == [Spell(at(5), None)] and one.announced == []
    assert one.hidden[SUPPRESSED] == [Spell(at(5), None)]


def test_out_of_service() -> None:
    told = Told()
    told.spell(0, 5)
    told.act(10, ActKind.OUT_OF_SERVICE)
    told.found(15, True)
    told.act(20, ActKind.IN_SERVICE)
    one = only(told)
    assert one.hidden[OUT_OF_SERVICE] == [Spell(at(10), at(20))]
    assert one.announced == [Announced(at(0), "medium"), Announced(at(20), "medium", came=False)]


def machine(event_id: str, *, active: bool = True, acked: bool = False, **more: object) -> MachineAlarm:
    state = MachineAlarm(
        "i=7", "filter", "High", "Process", 700, active, acked, active or not acked, "p high", event_id, 1
    )
    return MachineAlarm.from_json(state.to_json() | more)


class MachineTold:
    """What a machine says, through the book that the collector keeps and the real journal's way of filing it."""

    def __init__(self, journal: Journal) -> None:
        self.journal, self.book = journal, AlarmBook("press")

    def says(self, second: float, alarm: MachineAlarm) -> None:
        event = self.book.take(alarm, at(second))
        assert event is not None
        self.journal.event(event)

    def history(self) -> AlarmHistory:
        (one,) = histories(self.journal.entries(kinds=(EntryKind.MACHINE,)))
        return one


def test_a_machines_alarm_is_an_origin_of_its_own(tmp_path: Path) -> None:
    journal = Journal.open(tmp_path / "journal.db")
    told = MachineTold(journal)
    told.says(10, machine("1"))
    told.says(30, machine("2", acked=True))
    told.says(70, machine("3", acked=True, active=False))
    told.says(90, machine("4", acked=True, shelved=True))
    told.says(95, machine("5", acked=True, shelved=False))
    one = told.history()
    assert one.name == ("press", "", "i=7") and one.label == "High of filter: p high"
    assert one.announced == [Announced(at(10), "error"), Announced(at(95), "error", came=False)]
    assert one.active == [Spell(at(10), at(70)), Spell(at(90), None)]
    assert one.waits == [Spell(at(10), at(30))]
    assert one.hidden[SHELVED] == [Spell(at(90), at(95))]
    assert origins_of([one]) == [OURS, "press"]
    journal.close()


def test_an_end_that_was_only_found_after_a_gap_is_not_known(tmp_path: Path) -> None:
    assert _GONE == GONE, "the collector's words have changed"
    journal = Journal.open(tmp_path / "journal.db")
    told = MachineTold(journal)
    told.says(10, machine("1"))
    told.book.refresh_began()
    for event in told.book.refresh_ended(at(500)):
        journal.event(event)
    assert told.history().active == [Spell(at(10), at(500), end_known=False)]
    journal.close()


def test_a_text_without_begin_and_end_is_no_alarm() -> None:
    data = {"kind": "machine-event", "text": "Hello", "data": {"condition": "i=1", "changes": ["told"]}}
    assert histories([Entry("a", at(1), EntryKind.MACHINE, "press", "i=1", "press", data)]) == []


def test_only_what_was_announced_within_the_window_counts() -> None:
    told = Told()
    told.spell(-5, -2)
    told.spell(0, 2)
    told.spell((MONTH.end_ns - MONTH.start_ns) / NS, None)
    assert times_of(histories(told.entries), MONTH).tolist() == [at(0)]


def test_a_machine_that_asks_again_is_heard_again(tmp_path: Path) -> None:
    journal = Journal.open(tmp_path / "journal.db")
    told = MachineTold(journal)
    told.says(10, machine("1"))
    told.says(20, machine("2", acked=True))
    told.says(50, machine("3", acked=False))
    one = told.history()
    assert one.announced == [Announced(at(10), "error"), Announced(at(50), "error", came=False)]
    assert one.waits == [Spell(at(10), at(20)), Spell(at(50), None)]
    journal.close()


def test_a_list_that_tells_two_comings_and_no_return_between_makes_two_spells() -> None:
    data = {
        "condition": "list:4",
        "name": "4",
        "severity": 0,
        "active": True,
        "acked": True,
        "changes": ["came"],
    }
    content = {"kind": "machine-alarm", "text": "", "data": data}
    said = [
        Entry(f"imported/{n}", at(n), EntryKind.MACHINE, "panel", "list:4", "panel", content) for n in (5, 9)
    ]
    (one,) = histories(said)
    assert one.active == [Spell(at(5), at(9), end_known=False), Spell(at(9), None)]
    assert [a.time_ns for a in one.announced] == [at(5), at(9)] and one.announced[0].grade == "not told"
    assert one.waits == []
