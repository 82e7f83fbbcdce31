"""The trial record on disk: one trial at a time, and no change without its line in the audit table."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from historian.errors import StoredDataDamaged, StoreReadOnly, WrongInput
from trials.record import Trial, TrialRecord

T0 = 1_700_000_000_000_000_000


@pytest.fixture
def record(tmp_path: Path) -> Iterator[TrialRecord]:
    made = TrialRecord.open(tmp_path / "line" / "trials.db", clock=lambda: T0 + 99)
    yield made
    made.close()


def begin(record: TrialRecord, name: str = "film, washed", start_ns: int = T0) -> Trial:
    return record.open_trial(
        name, customer="a customer", code_name="heron", start_ns=start_ns, plan={"kg_h": 640.0}, by="ada"
    )


def test_a_trial_from_its_start_to_its_end(record: TrialRecord) -> None:
    assert record.under_way() is None
    trial = begin(record)
    assert trial == Trial(1, "film, washed", "a customer", "heron", T0, None, {"kg_h": 640.0})
    assert record.under_way() == trial
    closed = record.close_trial(trial.id, T0 + 5)
    assert (closed.end_ns, record.under_way()) == (T0 + 5, None)
    later = begin(record, "second", T0 + 20)
    earlier = record.close_trial(later.id, T0 + 30)
    assert record.trials() == [closed, earlier]


def test_one_trial_at_a_time(record: TrialRecord) -> None:
    begin(record)
    with pytest.raises(WrongInput, match="'film, washed' is under way"):
        begin(record, "second")
    assert len(record.trials()) == len(record.changes()) == 1


def test_two_programs_cannot_begin_a_trial_each(record: TrialRecord) -> None:
    other = TrialRecord.open(record.path)
    begin(record)
    with pytest.raises(WrongInput, match="under way"):
        begin(other, "second")
    assert other.under_way() == record.under_way()
    other.close()


@pytest.mark.parametrize(
    ("id", "end_ns", "why"), [(1, T0, "after its start"), (7, T0 + 1, "no trial number 7")]
)
def test_what_cannot_be_closed(record: TrialRecord, id: int, end_ns: int, why: str) -> None:
    begin(record)
    with pytest.raises(WrongInput, match=why):
        record.close_trial(id, end_ns)
    assert record.under_way() is not None


def test_a_trial_ends_once(record: TrialRecord) -> None:
    trial = begin(record)
    record.close_trial(trial.id, T0 + 5)
    with pytest.raises(WrongInput, match="ended already"):
        record.close_trial(trial.id, T0 + 9)
    assert record.trials()[0].end_ns == T0 + 5


def test_notes_by_time(record: TrialRecord) -> None:
    trial = begin(record)
    record.note(trial.id, T0 + 9, "ben", "sample 2 taken", kind="sample")
    record.note(trial.id, T0 + 3, "ada", "  bale 7 smells  ")
    assert [(n.time_ns, n.by, n.text, n.kind) for n in record.notes(trial.id)] == [
        (T0 + 3, "ada", "bale 7 smells", "note"),
        (T0 + 9, "ben", "sample 2 taken", "sample"),
    ]
    assert record.notes(2) == []


@pytest.mark.parametrize(
    ("id", "by", "text"), [(1, "ada", " "), (1, "", "words"), (1, "ada", "x" * 2001), (2, "ada", "words")]
)
def test_what_is_no_note(record: TrialRecord, id: int, by: str, text: str) -> None:
    begin(record)
    with pytest.raises(WrongInput):
        record.note(id, T0, by, text)
    assert record.notes(1) == []
    assert len(record.changes()) == 1


def test_a_trial_needs_a_name(record: TrialRecord) -> None:
    with pytest.raises(WrongInput, match="name"):
        begin(record, "  ")


def test_every_change_is_in_the_audit_table(record: TrialRecord) -> None:
    trial = begin(record)
    record.note(trial.id, T0 + 1, "ben", "words")
    record.close_trial(trial.id, T0 + 5, by="ada")
    changes = record.changes()
    assert [(c.time_ns, c.by, c.what, c.trial_id) for c in changes] == [
        (T0 + 99, "ada", "trial opened", 1),
        (T0 + 99, "ben", "note written", 1),
        (T0 + 99, "ada", "trial closed", 1),
    ]
    assert changes[1].data["text"] == "words" and changes[2].data == {"end_ns": T0 + 5}


@pytest.mark.parametrize("sql", ["DELETE FROM audit", "UPDATE audit SET by = 'nobody'"])
def test_nothing_is_taken_from_the_audit_table(record: TrialRecord, sql: str) -> None:
    begin(record)
    other = sqlite3.connect(record.path)
    with pytest.raises(sqlite3.IntegrityError, match="audit table"):
        other.execute(sql)
    other.close()


def test_it_is_there_after_closing(record: TrialRecord) -> None:
    trial = begin(record)
    record.close()
    again = TrialRecord.open(record.path)
    assert again.under_way() == trial
    again.close()


def test_a_place_that_cannot_be_written_is_told(record: TrialRecord, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreReadOnly, match="check the folder"):
        TrialRecord.open(tmp_path / "file" / "trials.db")
    begin(record)
    record.path.unlink()
    with pytest.raises(StoreReadOnly, match=r"trials\.db"):
        record.note(1, T0, "ada", "words")


def test_what_is_no_trial_record_is_told(record: TrialRecord, tmp_path: Path) -> None:
    (tmp_path / "words").write_text("these are words, and many of them" * 100)
    with pytest.raises(StoredDataDamaged, match="words"):
        TrialRecord.open(tmp_path / "words")
    record._db.execute("UPDATE meta SET value = '3'")
    with pytest.raises(StoredDataDamaged, match="form 3"):
        TrialRecord.open(record.path)
