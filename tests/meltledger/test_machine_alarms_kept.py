"""What a machine says of its own alarms stands in the journal with origin, begin, end, acknowledge and severity."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from collector.machine_alarms import AlarmBook, MachineAlarm
from historian.frame import NS
from rules.entry import Entry, EntryKind
from rules.journal import Journal
from rules.severity import class_of_severity

CAME = MachineAlarm(
    "nsu=urn:x;i=7", "Filter", "High", "Process", 700, True, False, True, "p high", "01", 5 * NS
)
ACKED = replace(CAME, acked=True, event_id="02", by="ada", time_ns=9 * NS)
GONE = replace(ACKED, active=False, retain=False, event_id="03", time_ns=12 * NS)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with closing(Journal.open(tmp_path / "journal.db")) as opened:
        yield opened


def tell(journal: Journal, *alarms: MachineAlarm) -> list[Entry]:
    book = AlarmBook("plc")
    for alarm in alarms:
        event = book.take(alarm, alarm.time_ns)
        assert event is not None
        journal.event(event)
    return journal.entries(kinds=[EntryKind.MACHINE])


def test_each_turn_is_kept_with_its_origin_and_time(journal: Journal) -> None:
    entries = tell(journal, CAME, ACKED, GONE)
    assert [(e.rule, e.subject, e.by) for e in entries] == [("plc", CAME.condition, "plc")] * 3
    assert [e.time_ns for e in entries] == [5 * NS, 9 * NS, 12 * NS]
    assert [e.data["data"]["changes"] for e in entries] == [["came"], ["acknowledged"], ["returned"]]
    assert [(e.data["data"]["active"], e.data["data"]["acked"]) for e in entries] == [
        (True, False), (True, True), (False, True),
    ]  # fmt: skip
    assert {class_of_severity(e.data["data"]["severity"]) for e in entries} == {"error"}
    assert entries[1].data["data"]["by"] == "ada"


def test_it_stands_until_it_is_over_and_is_never_ours(journal: Journal) -> None:
    tell(journal, CAME, ACKED)
    assert [e.subject for e in journal.machine_alarms()] == [CAME.condition]
    assert journal.alarms(normal=True) == []
    tell(journal, CAME, GONE)
    assert journal.machine_alarms() == []
