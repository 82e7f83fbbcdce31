"""The record of a line's trials on disk: when each began and ended, for whom, its plan and its notes.

One SQLite file in WAL mode, flushed to disk at every commit. Every change stands in the table ``audit`` as
well, from which nothing can be taken away.
"""

from __future__ import annotations

import json
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from historian.errors import StoredDataDamaged, StoreReadOnly, WrongInput
from rules.journal import in_our_words

SCHEMA_VERSION = 1
_LONGEST_TEXT = 2000

_SCHEMA = """
CREATE TABLE IF NOT EXISTS meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS trials (
  id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, customer TEXT NOT NULL, code_name TEXT NOT NULL,
  start_ns INTEGER NOT NULL, end_ns INTEGER, plan TEXT NOT NULL);
CREATE UNIQUE INDEX IF NOT EXISTS one_under_way ON trials ((end_ns IS NULL)) WHERE end_ns IS NULL;
CREATE TABLE IF NOT EXISTS notes (
  id INTEGER PRIMARY KEY AUTOINCREMENT, trial_id INTEGER NOT NULL REFERENCES trials (id),
  time_ns INTEGER NOT NULL, by TEXT NOT NULL, text TEXT NOT NULL, kind TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS audit (
  id INTEGER PRIMARY KEY AUTOINCREMENT, time_ns INTEGER NOT NULL, by TEXT NOT NULL, what TEXT NOT NULL,
  trial_id INTEGER NOT NULL, data TEXT NOT NULL);
CREATE TRIGGER IF NOT EXISTS audit_stays BEFORE DELETE ON audit
  BEGIN SELECT RAISE(ABORT, 'nothing is taken from the audit table'); END;
CREATE TRIGGER IF NOT EXISTS audit_is_not_changed BEFORE UPDATE ON audit
  BEGIN SELECT RAISE(ABORT, 'nothing is changed in the audit table'); END;
"""
_TRIAL = "id, name, customer, code_name, start_ns, end_ns, plan"


@dataclass(frozen=True, slots=True)
class Trial:
    """One trial.

    Attributes:
        name: as the site calls it.
        customer: whose material it is.
        code_name: what walls and mails call the customer.
        start_ns, end_ns: UTC nanoseconds; no end while it is under way.
        plan: what is planned, as JSON types.
    """

    id: int
    name: str
    customer: str
    code_name: str
    start_ns: int
    end_ns: int | None
    plan: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Note:
    """What a person wrote down during a trial; ``kind`` is a short word such as "note" or "sample"."""

    id: int
    trial_id: int
    time_ns: int
    by: str
    text: str
    kind: str


@dataclass(frozen=True, slots=True)
class Change:
    """One line of the audit table: when something was changed, by whom, what, and to what."""

    time_ns: int
    by: str
    what: str
    trial_id: int
    data: Mapping[str, Any]


class TrialRecord:
    """The trials of one line; its methods may be called from several threads.

    Args:
        clock: gives UTC nanoseconds, for the audit table.
    """

    def __init__(self, path: Path, clock: Callable[[], int]) -> None:
        self.path = path
        self._clock = clock
        self._lock = threading.RLock()
        with self._told("open"):
            path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(path, timeout=10, isolation_level=None, check_same_thread=False)
        try:
            with self._told("open"):
                self._set_up()
        except BaseException:
            self._db.close()
            raise

    @classmethod
    def open(cls, path: Path, clock: Callable[[], int] = time.time_ns) -> TrialRecord:
        """The record in this file, made when it is not there.

        Raises:
            StoreReadOnly: the file or its folder cannot be written.
            StoredDataDamaged: the file is no trial record, or one of a later version.
        """
        return cls(path, clock)

    def open_trial(
        self,
        name: str,
        *,
        customer: str,
        code_name: str,
        start_ns: int,
        plan: Mapping[str, Any],
        by: str = "",
    ) -> Trial:
        """Begin a trial.

        Raises:
            WrongInput: no name, or another trial is under way.
        """
        if not name.strip():
            raise WrongInput("a trial needs a name")
        with self._transaction() as db:
            running = self.under_way()
            if running is not None:
                raise WrongInput(f"trial '{running.name}' is under way; close it before the next one begins")
            values = (name.strip(), customer, code_name, start_ns, json.dumps(plan, ensure_ascii=False))
            made = db.execute(
                "INSERT INTO trials (name, customer, code_name, start_ns, plan) VALUES (?,?,?,?,?)", values
            )
            trial = self._trial(int(made.lastrowid or 0))
            self._note_change(by, "trial opened", trial.id, {"name": trial.name, "start_ns": start_ns})
        return trial

    def under_way(self) -> Trial | None:
        """The trial that has not ended; None between trials."""
        rows = self._rows(f"SELECT {_TRIAL} FROM trials WHERE end_ns IS NULL")
        return _trial(rows[0]) if rows else None

    def close_trial(self, id: int, end_ns: int, by: str = "") -> Trial:
        """End a trial.

        Raises:
            WrongInput: no such trial, it has ended already, or the end is not after its start.
        """
        with self._transaction() as db:
            trial = self._trial(id)
            if trial.end_ns is not None:
                raise WrongInput(f"trial '{trial.name}' has ended already")
            if end_ns <= trial.start_ns:
                raise WrongInput(f"the end of trial '{trial.name}' must lie after its start")
            db.execute("UPDATE trials SET end_ns = ? WHERE id = ?", (end_ns, id))
            self._note_change(by, "trial closed", id, {"end_ns": end_ns})
            return self._trial(id)

    def trials(self) -> list[Trial]:
        """All trials in the order of their start."""
        return [_trial(r) for r in self._rows(f"SELECT {_TRIAL} FROM trials ORDER BY start_ns, id")]

    def note(self, trial_id: int, time_ns: int, by: str, text: str, kind: str = "note") -> Note:
        """Write something down.

        Args:
            time_ns: when it happened, UTC nanoseconds.

        Raises:
            WrongInput: no such trial, no words or too many.
        """
        words = text.strip()
        if not words or not by.strip():
            raise WrongInput("a note needs words and the name of who writes it")
        if len(words) > _LONGEST_TEXT:
            raise WrongInput(f"a note may have at most {_LONGEST_TEXT} characters")
        with self._transaction() as db:
            self._trial(trial_id)
            made = db.execute(
                "INSERT INTO notes (trial_id, time_ns, by, text, kind) VALUES (?,?,?,?,?)",
                (trial_id, time_ns, by, words, kind),
            )
            note = Note(int(made.lastrowid or 0), trial_id, time_ns, by, words, kind)
            self._note_change(by, "note written", trial_id, {"note": note.id, "text": words, "kind": kind})
        return note

    def notes(self, trial_id: int) -> list[Note]:
        """The trial's notes in the order of their times."""
        columns = "id, trial_id, time_ns, by, text, kind"
        rows = self._rows(f"SELECT {columns} FROM notes WHERE trial_id = ? ORDER BY time_ns, id", trial_id)
        return [Note(*r) for r in rows]

    def changes(self) -> list[Change]:
        """Every change of the record, oldest first."""
        rows = self._rows("SELECT time_ns, by, what, trial_id, data FROM audit ORDER BY id")
        return [Change(t, by, what, trial, json.loads(data)) for t, by, what, trial, data in rows]

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._db.close()

    def _set_up(self) -> None:
        if self._db.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
            self._db.execute("PRAGMA journal_mode=WAL")
        self._db.execute("PRAGMA synchronous=FULL")
        self._db.execute("PRAGMA foreign_keys=ON")
        self._db.executescript(_SCHEMA)
        self._db.execute("INSERT OR IGNORE INTO meta VALUES ('schema', ?)", (str(SCHEMA_VERSION),))
        found = self._db.execute("SELECT value FROM meta WHERE key = 'schema'").fetchone()[0]
        if int(found) != SCHEMA_VERSION:
            raise StoredDataDamaged(
                f"{self.path}: a trial record of form {found}, this program reads form {SCHEMA_VERSION}; "
                "use the version of meltledger that wrote it, or a later one"
            )
        self._inode = self.path.stat().st_ino

    def _trial(self, id: int) -> Trial:
        rows = self._rows(f"SELECT {_TRIAL} FROM trials WHERE id = ?", id)
        if not rows:
            raise WrongInput(f"there is no trial number {id} in {self.path}")
        return _trial(rows[0])

    def _note_change(self, by: str, what: str, trial_id: int, data: Mapping[str, Any]) -> None:
        values = (self._clock(), by, what, trial_id, json.dumps(data, ensure_ascii=False))
        self._db.execute("INSERT INTO audit (time_ns, by, what, trial_id, data) VALUES (?,?,?,?,?)", values)

    def _rows(self, sql: str, *values: object) -> list[tuple[Any, ...]]:
        with self._lock, self._told("read"):
            return self._db.execute(sql, values).fetchall()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with self._lock, self._told("write"):
            # SQLite goes on writing into a deleted file without a word, so look first.
            if self.path.stat().st_ino != self._inode:
                raise StoreReadOnly(f"{self.path} was replaced while in use; start the program again")
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    @contextmanager
    def _told(self, doing: str) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise in_our_words(error, self.path, doing) from error
        except OSError as error:
            raise StoreReadOnly(f"cannot {doing} {self.path}: {error.strerror}; check the folder") from error


def _trial(row: tuple[Any, ...]) -> Trial:
    id, name, customer, code_name, start_ns, end_ns, plan = row
    return Trial(id, name, customer, code_name, start_ns, end_ns, json.loads(plan))
