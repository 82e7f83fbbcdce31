"""What is written down stays: corrections and withdrawals stand beside the old words, addenda behind the seal."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from historian.errors import WrongInput
from trials.record import Entry, TrialRecord, What, book_of
from trials.record.entries import FORMS, ONCE

T0 = 1_700_000_000_000_000_000
NOW = T0 + 10**12
LOT = {"lot": "2", "bale": "7"}


@pytest.fixture
def record(tmp_path: Path) -> Iterator[TrialRecord]:
    made = TrialRecord.open(tmp_path / "trials.db", clock=lambda: NOW)
    made.open_trial("film", customer="c", code_name="heron", start_ns=T0, plan={})
    yield made
    made.close()


def write(record: TrialRecord, what: What, data: dict[str, Any], at: int = 5, **more: Any) -> Entry:
    return record.write(1, what, data, time_ns=T0 + at, by="ada", **more)


def test_when_it_was_so_and_when_it_was_written_are_kept_apart(record: TrialRecord) -> None:
    entry = write(record, What.LOT, LOT)
    assert (entry.time_ns, entry.entered_ns, entry.by, entry.addendum) == (T0 + 5, NOW, "ada", False)
    assert record.entries(1) == [entry]


def test_a_correction_keeps_the_old_value(record: TrialRecord) -> None:
    old = write(record, What.WEIGHING, {"gross": "14.2 kg", "tare": "1.1 kg"})
    new = write(record, What.WEIGHING, {"gross": "12.4 kg", "tare": "1.1 kg"}, replaces=old.id)
    newer = write(record, What.WEIGHING, {"gross": "12.5 kg", "tare": "1.1 kg"}, replaces=new.id)
    book = book_of(record.entries(1))
    assert book.all_of(What.WEIGHING) == [newer]
    assert book.corrected[newer.id] == (new, old)
    assert len(record.entries(1)) == 3


def test_what_is_taken_back_stays_with_the_reason(record: TrialRecord) -> None:
    entry = write(record, What.LOT, LOT)
    record.withdraw(entry.id, by="ben", why="the bale was not opened")
    book = book_of(record.entries(1))
    assert book.all_of(What.LOT) == []
    assert book.withdrawn == ((entry, "the bale was not opened"),)


@pytest.mark.parametrize("what", sorted(ONCE))
def test_of_some_a_trial_has_one(record: TrialRecord, what: What) -> None:
    steady = {"name": "steady", "start_ns": T0, "end_ns": T0 + 9, "reason": "as found"}
    data, other = {
        What.MATERIAL: ({"polymer": "PE", "form": "flakes", "lot": "1"}, {"lot": "2"}),
        What.PLAN: ({"question": "?"}, {"question": "!"}),
        What.PHASES: ({"phase": [steady], "why": "late"}, {"why": "later"}),
    }[what]
    first = write(record, what, data)
    second = write(record, what, {**data, **other})
    book = book_of(record.entries(1))
    assert book.only(what) == second.data
    assert book.corrected[second.id] == (first,)


def test_several_stand_in_the_order_of_when_it_was_so(record: TrialRecord) -> None:
    late = write(record, What.LOT, {"lot": "2"}, 50)
    early = write(record, What.LOT, {"lot": "1"}, 10)
    assert book_of(record.entries(1)).all_of(What.LOT) == [early, late]


def test_behind_the_seal_everything_is_an_addendum(record: TrialRecord) -> None:
    before = write(record, What.LOT, LOT)
    record.close_trial(1, T0 + 100)
    seal = record.seal(1, {"sha256": "0" * 64}, by="ada")
    after = write(record, What.NOTE, {"text": "the ash came"})
    book = book_of(record.entries(1))
    assert book.seal == seal and book.addenda == [after]
    assert not before.addendum and after.addendum


def test_a_trial_under_way_is_not_sealed(record: TrialRecord) -> None:
    with pytest.raises(WrongInput, match="close it"):
        record.seal(1, {}, by="ada")


def test_what_cannot_be_corrected(record: TrialRecord) -> None:
    lot = write(record, What.LOT, LOT)
    with pytest.raises(WrongInput, match="is a lot, which a note cannot correct"):
        write(record, What.NOTE, {"text": "x"}, replaces=lot.id)
    with pytest.raises(WrongInput, match="no entry number 77"):
        write(record, What.LOT, LOT, replaces=77)
    write(record, What.LOT, {"lot": "3"}, replaces=lot.id)
    with pytest.raises(WrongInput, match="corrected or taken back already"):
        write(record, What.LOT, LOT, replaces=lot.id)
    with pytest.raises(WrongInput, match="corrected or taken back already"):
        record.withdraw(lot.id, by="ada", why="x")
    record.close_trial(1, T0 + 100)
    other = record.open_trial("second", customer="c", code_name="n", start_ns=T0 + 200, plan={})
    with pytest.raises(WrongInput, match="of another trial"):
        record.write(other.id, What.LOT, LOT, time_ns=T0 + 300, by="ada", replaces=2)


def test_what_is_not_taken(record: TrialRecord) -> None:
    with pytest.raises(WrongInput, match="still to come"):
        record.write(1, What.LOT, LOT, time_ns=NOW + 400 * 10**9, by="ada")
    with pytest.raises(WrongInput, match="gives a name"):
        record.write(1, What.LOT, LOT, time_ns=T0, by=" ")
    with pytest.raises(WrongInput, match="lot: Field required"):
        write(record, What.LOT, {})
    with pytest.raises(WrongInput, match="by the record itself"):
        write(record, What.SEALED, {})
    with pytest.raises(WrongInput, match="no trial number 9"):
        record.write(9, What.LOT, LOT, time_ns=T0, by="ada")
    with pytest.raises(WrongInput, match="a reason"):
        record.withdraw(1, by="ada", why=" ")
    assert record.entries(1) == []


@pytest.mark.parametrize("sql", ["DELETE FROM entries", "UPDATE entries SET by = 'nobody'"])
def test_nothing_is_taken_from_the_entries(record: TrialRecord, sql: str) -> None:
    write(record, What.LOT, LOT)
    other = sqlite3.connect(record.path)
    with pytest.raises(sqlite3.IntegrityError, match="the record"):
        other.execute(sql)
    other.close()


def test_every_kind_that_people_write_has_a_form() -> None:
    assert set(What) - FORMS.keys() == {What.WITHDRAWN, What.SEALED, What.FORGOTTEN}


def test_a_record_of_the_form_before_is_brought_up_with_its_notes(tmp_path: Path) -> None:
    """The tables are those of form 1, as it wrote them."""
    path = tmp_path / "trials.db"
    with sqlite3.connect(path) as db:
        db.executescript(
            "CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;"
            "INSERT INTO meta VALUES ('schema', '1');"
            "CREATE TABLE trials (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, "
            "customer TEXT NOT NULL, code_name TEXT NOT NULL, start_ns INTEGER NOT NULL, end_ns INTEGER, "
            "plan TEXT NOT NULL);"
            "INSERT INTO trials VALUES (1, 'film', 'c', 'heron', 10, NULL, '{}');"
            "CREATE TABLE notes (id INTEGER PRIMARY KEY AUTOINCREMENT, trial_id INTEGER NOT NULL, "
            "time_ns INTEGER NOT NULL, by TEXT NOT NULL, text TEXT NOT NULL, kind TEXT NOT NULL);"
            "INSERT INTO notes VALUES (4, 1, 30, 'ben', 'it \"smells\"', 'note'), (5, 1, 20, 'ada', 'S1', 'sample');"
        )
    for _ in range(2):
        record = TrialRecord.open(path, clock=lambda: NOW)
        assert [(n.time_ns, n.by, n.text, n.kind) for n in record.notes(1)] == [
            (20, "ada", "S1", "sample"),
            (30, "ben", 'it "smells"', "note"),
        ]
        record.close()
