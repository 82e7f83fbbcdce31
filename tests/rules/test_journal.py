"""The journal on disk: what comes back, what two processes may do, and what a lost disk looks like."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from dataclasses import replace
from itertools import count
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from historian.errors import OutsideWorldAway, StoredDataDamaged, StoreFull, StoreReadOnly, WrongInput
from historian.event import Event
from historian.frame import NS
from rules.entry import Act, ActKind, Entry, EntryKind
from rules.finding import Priority
from rules.journal import Journal
from rules.lifecycle import LifeCycle, Transition
from rules.states import State
from tests.rules.toys import T0, finding

ACT = Act(0, T0, "ada", "operator", ActKind.SEEN, "over", "filter.inlet")
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    made = Journal.open(tmp_path / "line" / "journal.db")
    yield made
    made.close()


def entry(key: str, time_ns: int = T0, kind: EntryKind = EntryKind.NOTE, **data: object) -> Entry:
    return Entry(key, time_ns, kind, "over", "filter.inlet", "ada", data)


def of_transition(n: int, transition: Transition) -> Entry:
    name = (transition.rule, transition.subject)
    return Entry(
        f"{n}/transition/{n}", transition.time_ns, EntryKind.TRANSITION, *name, "", transition.to_json()
    )


def test_a_key_is_kept_once(journal: Journal) -> None:
    assert journal.append([entry("a", text="first"), entry("b")]) == 2
    assert journal.append([entry("a", text="second"), entry("c")]) == 1
    assert [e.key for e in journal.entries()] == ["a", "b", "c"]
    assert journal.entries()[0].data == {"text": "first"}


def test_which_keys_are_known_however_many_are_asked_for(journal: Journal) -> None:
    journal.append(entry(f"k{n}") for n in range(0, 1200, 2))
    assert journal.known([f"k{n}" for n in range(1200)]) == {f"k{n}" for n in range(0, 1200, 2)}
    assert journal.known([]) == set()


def test_a_consequence_stands_in_the_journal_with_its_root(journal: Journal) -> None:
    life, root = LifeCycle(), ("source-silent", "source.plc")
    moves = life.finding(finding(), T0, root)
    journal.append(of_transition(n, t) for n, t in enumerate(moves))
    (now,) = journal.alarms()
    assert (now.state, now.condition, now.root) == (State.SUPPRESSED, True, root)
    assert now.reason == "a consequence of source-silent of source.plc"
    journal.append(of_transition(n + 9, t) for n, t in enumerate(life.group({}, T0 + NS)))
    (now,) = journal.alarms()
    assert (now.state, now.root) == (State.UNACKNOWLEDGED, None)


def test_an_alarm_of_before_they_were_grouped_has_no_root(journal: Journal) -> None:
    (raised,) = LifeCycle().finding(finding(), T0)
    old = of_transition(0, raised)
    journal.append([replace(old, data={k: v for k, v in old.data.items() if k != "root"})])
    assert journal.alarms()[0].root is None


def test_entries_by_time_kind_and_number(journal: Journal) -> None:
    journal.append([entry("c", T0 + 3), entry("a", T0 + 1), entry("b", T0 + 2, EntryKind.FINDING)])
    assert [e.key for e in journal.entries()] == ["a", "b", "c"]
    assert [e.key for e in journal.entries(T0 + 2, T0 + 3)] == ["b"]
    assert [e.key for e in journal.entries(kinds=["finding"])] == ["b"]
    assert [e.key for e in journal.entries(kinds=[])] == []
    assert [e.key for e in journal.entries(limit=2)] == ["b", "c"]
    numbers = journal.entries_after(0)
    assert [e.key for _, e in numbers] == ["c", "a", "b"]
    assert [e.key for _, e in journal.entries_after(numbers[0][0])] == ["a", "b"]


_numbers = count()
_json = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None)
@given(
    st.integers(-(2**63), 2**63 - 1),
    st.sampled_from(EntryKind),
    st.text(),
    st.dictionaries(st.text(), _json, max_size=4),
)
def test_an_entry_comes_back_as_it_was(
    journal: Journal, time_ns: int, kind: EntryKind, text: str, data: dict[str, object]
) -> None:
    if any(0xD800 <= ord(c) < 0xE000 for c in text + repr(data)):
        return
    made = Entry(f"{next(_numbers)}/any", time_ns, kind, text, text, text, data)
    journal.append([made])
    assert [e for _, e in journal.entries_after(0) if e.key == made.key] == [made]


def test_the_saved_state_comes_with_its_entries_or_not_at_all(journal: Journal) -> None:
    assert journal.snapshot() is None
    journal.append([], (7, T0, {"a": [1, None]}))
    journal.append([], (8, T0 + 1, {"a": float("nan")}))
    assert journal.snapshot() == (8, T0 + 1, {"a": None})
    with pytest.raises(OverflowError):
        journal.append([entry("a")], (2**64, T0, {}))
    assert journal.entries() == [] and journal.snapshot() == (8, T0 + 1, {"a": None})


def test_an_act_gets_a_number_and_an_entry(journal: Journal) -> None:
    note = replace(ACT, what=ActKind.MARK, rule="", subject="", text="bale changed")
    assert [journal.record_act(ACT), journal.record_act(note)] == [1, 2]
    assert journal.acts_after(0) == [replace(ACT, id=1), replace(note, id=2)]
    assert journal.acts_after(1) == [replace(note, id=2)]
    first, second = journal.entries()
    assert (first.kind, first.rule, first.by, first.data["what"]) == (EntryKind.ACT, "over", "ada", "seen")
    assert (second.kind, second.data["text"], second.second) == (EntryKind.NOTE, "bale changed", None)


@pytest.mark.parametrize(
    ("lacking", "named"),
    [
        ({"rule": ""}, "rule"),
        ({"subject": " "}, "subject"),
        ({"by": ""}, "by"),
        ({"role": ""}, "role"),
        ({"time_ns": 0}, "time_ns"),
        ({"what": ActKind.NOTE}, "text"),
        ({"what": ActKind.SHELVE, "until_ns": T0}, "reason"),
        ({"what": ActKind.SHELVE, "reason": "why"}, "until_ns"),
        ({"what": ActKind.OUT_OF_SERVICE}, "reason"),
        ({"reason": "x" * 2001}, "2000"),
        ({"reason": "\ud800"}, "no text"),
    ],
)
def test_an_act_that_lacks_something_is_refused(
    journal: Journal, lacking: dict[str, object], named: str
) -> None:
    with pytest.raises(WrongInput, match=named):
        journal.record_act(replace(ACT, **lacking))  # type: ignore[arg-type]
    assert journal.acts_after(0) == [] and journal.entries() == []


def test_taken_acts_and_the_last_judged_second(journal: Journal) -> None:
    assert (journal.taken(), journal.last_second()) == ({}, None)
    journal.append([entry("41/act-taken/over/filter.inlet/0", kind=EntryKind.ACT_TAKEN, act=3)])
    journal.append([entry("44/finding/over/filter.inlet/0", kind=EntryKind.FINDING)])
    journal.record_act(ACT)
    assert (journal.taken(), journal.last_second()) == ({3: 41}, 44)


def test_alarms_as_their_last_transitions_say(journal: Journal) -> None:
    life = LifeCycle()
    steps = [
        *life.finding(finding(rule="a", priority=Priority.LOW), T0),
        *life.finding(finding(rule="b", priority=Priority.HIGH), T0 + 1),
        *life.finding(finding(rule="c", priority=Priority.LOW), T0 + 2),
        *life.act(replace(ACT, id=4, rule="a"), T0 + 3),
        *life.finding(finding(False, rule="a"), T0 + 4),
        *life.act(
            replace(ACT, id=5, rule="c", what=ActKind.SHELVE, reason="known", until_ns=T0 + 600 * NS), T0 + 5
        ),
        *life.finding(finding(rule="c", priority=Priority.LOW, sentence="Newer."), T0 + 6),
    ]
    journal.append(of_transition(n, t) for n, t in enumerate(steps) if isinstance(t, Transition))
    high, shelved = journal.alarms()
    assert (high.rule, high.state, high.priority, high.by) == (
        "b",
        State.UNACKNOWLEDGED,
        Priority.HIGH,
        "rules",
    )
    assert high.evidence["figures"] == {"pressure": [51.0, "bar"]}
    assert (shelved.rule, shelved.state, shelved.sentence) == ("c", State.SHELVED, "Newer.")
    assert (shelved.since_ns, shelved.shelved_until_ns) == (T0 + 5, T0 + 600 * NS)
    assert [a.rule for a in journal.alarms(normal=True)] == ["b", "a", "c"]


def test_events_are_kept_as_they_come(journal: Journal) -> None:
    event = Event(T0, "filter-plc", "source-lost", "no answer from 127.0.0.1", {"lag_s": 3.0})
    journal.event(event)
    journal.event(event)
    one, other = journal.entries(kinds=[EntryKind.EVENT])
    assert one.by == "filter-plc" and one.key != other.key
    assert one.data == {"kind": "source-lost", "text": "no answer from 127.0.0.1", "data": {"lag_s": 3.0}}


def test_a_reader_sees_what_is_written_and_writes_nothing(journal: Journal) -> None:
    reader = Journal.open(journal.path, mode="read")
    journal.append([entry("a")])
    assert [e.key for e in reader.entries()] == ["a"]
    with pytest.raises(WrongInput, match="for reading"):
        reader.append([entry("b")])
    with pytest.raises(WrongInput, match="for reading"):
        reader.record_act(ACT)
    reader.close()


def test_a_journal_that_nobody_has_open_can_be_read(journal: Journal) -> None:
    journal.append([entry("a")])
    journal.close()
    reader = Journal.open(journal.path, mode="read")
    assert [e.key for e in reader.entries()] == ["a"]
    reader.close()


def test_two_processes_write_at_once(journal: Journal) -> None:
    """The other process appends acts while this one appends entries: none is lost."""
    code = textwrap.dedent(
        f"""
        from pathlib import Path
        from rules.entry import Act, ActKind
        from rules.journal import Journal
        journal = Journal.open(Path({str(journal.path)!r}))
        for n in range(100):
            journal.record_act(Act(0, {T0} + n, "ada", "operator", ActKind.SEEN, "over", "filter.inlet"))
        """
    )
    with subprocess.Popen([sys.executable, "-c", code], cwd=ROOT) as other:
        for n in range(100):
            journal.append([entry(f"{n}/finding/over/x/0", kind=EntryKind.FINDING)], (n, T0, {}))
        assert other.wait(60) == 0
    assert len(journal.acts_after(0)) == 100
    assert len(journal.entries()) == 200


def test_a_deleted_file_is_told_before_anything_is_written_into_it(journal: Journal) -> None:
    journal.append([entry("a")])
    journal.path.unlink()
    with pytest.raises(StoreReadOnly, match=r"journal\.db was moved, deleted"):
        journal.append([entry("b")])


def test_a_full_disk_is_told_and_what_was_kept_stays(journal: Journal) -> None:
    journal.append([entry("a")])
    pages = journal._db.execute("PRAGMA page_count").fetchone()[0]
    journal._db.execute(f"PRAGMA max_page_count = {pages + 1}")
    with pytest.raises(StoreFull, match=r"journal\.db: the disk is full"):
        journal.append([entry(f"{n}", text="x" * 2000) for n in range(100)])
    assert [e.key for e in journal.entries()] == ["a"]
    assert journal.append([entry("b")]) == 1


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreReadOnly, match="nowhere"):
        Journal.open(tmp_path / "nowhere.db", mode="read")
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreReadOnly, match="check the folder"):
        Journal.open(tmp_path / "file" / "journal.db")


def test_a_lock_that_is_never_let_go_is_told(journal: Journal) -> None:
    other = sqlite3.connect(journal.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    journal._db.execute("PRAGMA busy_timeout = 50")
    with pytest.raises(OutsideWorldAway, match="another program holds it"):
        journal.append([entry("a")])
    other.execute("ROLLBACK")
    other.close()
    assert journal.append([entry("a")]) == 1


def test_what_is_no_journal_is_told(tmp_path: Path) -> None:
    (tmp_path / "words").write_text("these are words, and many of them" * 100)
    with pytest.raises(StoredDataDamaged, match="words"):
        Journal.open(tmp_path / "words")
    other = sqlite3.connect(tmp_path / "other.db")
    other.execute("CREATE TABLE words (word TEXT)")
    other.close()
    with pytest.raises(StoredDataDamaged, match="not a journal"):
        Journal.open(tmp_path / "other.db", mode="read")


def test_a_journal_that_is_only_just_being_made_is_not_there_yet(tmp_path: Path) -> None:
    sqlite3.connect(tmp_path / "new.db").close()
    with pytest.raises(StoreReadOnly, match="no journal here yet"):
        Journal.open(tmp_path / "new.db", mode="read")
    Journal.open(tmp_path / "new.db").close()
    Journal.open(tmp_path / "new.db", mode="read").close()


def test_a_journal_of_a_later_version_is_told(journal: Journal) -> None:
    journal._db.execute("UPDATE meta SET value = '2' WHERE key = 'schema'")
    with pytest.raises(StoredDataDamaged, match="form 2, this program reads form 1"):
        Journal.open(journal.path)


def machine_alarm(condition: str, *, retain: bool, time_ns: int = T0) -> Event:
    data = {"condition": condition, "retain": retain, "severity": 700}
    return Event(time_ns, "press", "machine-alarm", "The machine's own alarm High: came.", data)


def test_a_machines_own_alarms_stand_beside_ours_and_are_none_of_ours(journal: Journal) -> None:
    journal.event(machine_alarm("s=High", retain=True))
    journal.event(machine_alarm("s=Low", retain=True))
    journal.event(machine_alarm("s=High", retain=False, time_ns=T0 - 1))
    journal.event(Event(T0, "press", "machine-event", "The machine says: pump restarted.", {"severity": 500}))
    journal.event(Event(T0, "press", "source-lost", "Source press is lost."))
    assert [e.kind for e in journal.entries()].count(EntryKind.MACHINE) == 4
    assert [e.data["kind"] for e in journal.entries(kinds=(EntryKind.EVENT,))] == ["source-lost"]
    assert [(e.rule, e.subject) for e in journal.machine_alarms()] == [("press", "s=Low")]
    assert [e.subject for e in journal.machine_alarms(over=True)] == ["s=Low", "s=High"]
    assert journal.alarms(normal=True) == []


def test_a_machines_words_that_are_no_text_are_kept_as_far_as_they_are(tmp_path: Path) -> None:
    journal = Journal.open(tmp_path / "journal.db")
    broken = b"melt \xff hot".decode("utf-8", "surrogateescape")
    journal.event(Event(5, "plc", "unit-refused", broken, {"text": [broken]}))
    (entry,) = journal.entries()
    journal.close()
    assert entry.data["text"] == "melt ? hot" and entry.data["data"] == {"text": ["melt ? hot"]}
