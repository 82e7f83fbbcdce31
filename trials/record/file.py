"""The record of a line's trials on disk: when each began and ended, for whom, and what was written down.

One SQLite file in WAL mode, flushed to disk at every commit. Entries are only added (``entries``); every
change stands in the table ``audit`` as well. From neither can anything be taken away, but a whole trial
whose time is over (``TrialRecord.forget``).
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
from historian.frame import NS
from historian.transaction import Transaction
from rules.journal import in_our_words
from trials.forms.forms import filled_in
from trials.record.book import book_of
from trials.record.entries import FORMS, Entry, What

SCHEMA_VERSION = 2
_AHEAD_NS = 300 * NS
"""How far ahead of this computer's clock something may have been: clocks of tablets are off."""

_META = "CREATE TABLE IF NOT EXISTS meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID"
_SCHEMA = """
CREATE TABLE IF NOT EXISTS trials (
  id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, customer TEXT NOT NULL, code_name TEXT NOT NULL,
  start_ns INTEGER NOT NULL, end_ns INTEGER, plan TEXT NOT NULL);
CREATE UNIQUE INDEX IF NOT EXISTS one_under_way ON trials ((end_ns IS NULL)) WHERE end_ns IS NULL;
CREATE TABLE IF NOT EXISTS entries (
  id INTEGER PRIMARY KEY AUTOINCREMENT, trial_id INTEGER NOT NULL REFERENCES trials (id), what TEXT NOT NULL,
  time_ns INTEGER NOT NULL, entered_ns INTEGER NOT NULL, by TEXT NOT NULL, data TEXT NOT NULL,
  replaces INTEGER REFERENCES entries (id), addendum INTEGER NOT NULL DEFAULT 0);
CREATE INDEX IF NOT EXISTS entries_of ON entries (trial_id);
CREATE TABLE IF NOT EXISTS audit (
  id INTEGER PRIMARY KEY AUTOINCREMENT, time_ns INTEGER NOT NULL, by TEXT NOT NULL, what TEXT NOT NULL,
  trial_id INTEGER NOT NULL, data TEXT NOT NULL);
CREATE TRIGGER IF NOT EXISTS audit_stays BEFORE DELETE ON audit
  BEGIN SELECT RAISE(ABORT, 'nothing is taken from the audit table'); END;
CREATE TRIGGER IF NOT EXISTS entries_stay BEFORE DELETE ON entries
  BEGIN SELECT RAISE(ABORT, 'nothing is taken from the record'); END;
CREATE TRIGGER IF NOT EXISTS entries_are_not_changed BEFORE UPDATE ON entries
  BEGIN SELECT RAISE(ABORT, 'nothing is changed in the record'); END;
CREATE TRIGGER IF NOT EXISTS audit_is_not_changed BEFORE UPDATE ON audit
  BEGIN SELECT RAISE(ABORT, 'nothing is changed in the audit table'); END;
"""
# Up to form 1 notes were all that could be written down.
_FROM_1 = """
INSERT INTO entries (trial_id, what, time_ns, entered_ns, by, data)
  SELECT trial_id, 'note', time_ns, time_ns, by, json_object('text', text, 'kind', kind)
  FROM notes ORDER BY id;
DROP TABLE notes;
"""
_ENTRY = "id, trial_id, what, time_ns, entered_ns, by, data, replaces, addendum"
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

    def write(
        self,
        trial_id: int,
        what: What,
        data: Mapping[str, Any],
        *,
        time_ns: int,
        by: str,
        replaces: int | None = None,
    ) -> Entry:
        """Write something down, or correct what was written: the old words stay beside it.

        Args:
            data: the form, filled in (``trials.record.entries.FORMS``).
            time_ns: when it was so, UTC nanoseconds.
            replaces: number of the entry that it corrects.

        Raises:
            WrongInput: no such trial, a form that is not filled in rightly, nobody who writes it, a time that
                is still to come, or a correction of what is of another form, trial, or corrected already.
        """
        if not by.strip():
            raise WrongInput("whoever writes something down gives a name")
        if what not in FORMS:
            raise WrongInput(f"'{what}' is written by the record itself")
        kept = filled_in(FORMS[what], dict(data))
        now_ns = self._clock()
        if time_ns > now_ns + _AHEAD_NS:
            raise WrongInput("that time is still to come; give when it was so")
        with self._transaction():
            if replaces is not None:
                self._check_replaced(replaces, trial_id, what)
            return self._add(trial_id, what, kept, time_ns, now_ns, by.strip(), replaces)

    def withdraw(self, entry_id: int, *, by: str, why: str) -> Entry:
        """Take an entry back; it stays in the record, with the reason.

        Raises:
            WrongInput: no such entry, it does not stand, or no reason.
        """
        if not why.strip() or not by.strip():
            raise WrongInput("what is taken back needs a reason and the name of who says so")
        with self._transaction():
            old = self._entry(entry_id)
            self._check_replaced(entry_id, old.trial_id, old.what)
            now_ns = self._clock()
            data = {"why": why.strip()}
            return self._add(old.trial_id, What.WITHDRAWN, data, now_ns, now_ns, by.strip(), entry_id)

    def seal(self, trial_id: int, seal: Mapping[str, Any], *, by: str) -> Entry:
        """Note a closed trial's seal; whatever is written from now on is an addendum.

        Args:
            seal: what ``trials.seal`` computed, JSON types.

        Raises:
            WrongInput: no such trial, or it is under way.
        """
        with self._transaction():
            trial = self._trial(trial_id)
            if trial.end_ns is None:
                raise WrongInput(f"trial '{trial.name}' is under way; close it before it is sealed")
            now_ns = self._clock()
            return self._add(trial_id, What.SEALED, dict(seal), now_ns, now_ns, by, None)

    def forget(self, trial_id: int, proof: Mapping[str, Any], *, by: str) -> Entry:
        """Delete what the record says of a trial, for good; its seals stay, and the proof beside them.

        This is the only way in which anything leaves the record: by an agreement that its time is over.

        Args:
            proof: see ``trials.customers.forgetting``, JSON types.

        Raises:
            WrongInput: no such trial, or it is under way.
        """
        with self._transaction() as db:
            trial = self._trial(trial_id)
            if trial.end_ns is None:
                raise WrongInput(f"trial '{trial.name}' is under way; close it before it is deleted")
            # What is deleted is written over; else it would stand in the file's free pages.
            db.execute("PRAGMA secure_delete=ON")
            for guard in ("entries_stay", "audit_stays"):
                db.execute(f"DROP TRIGGER {guard}")
            db.execute("DELETE FROM audit WHERE trial_id = ?", (trial_id,))
            db.execute("DELETE FROM entries WHERE trial_id = ? AND what != ?", (trial_id, str(What.SEALED)))
            db.execute(
                "UPDATE trials SET name = ?, customer = '', plan = '{}' WHERE id = ?",
                (_called(trial), trial_id),
            )
            for statement in _statements(_SCHEMA):
                db.execute(statement)
            now_ns = self._clock()
            entry = self._add(trial_id, What.FORGOTTEN, dict(proof), now_ns, now_ns, by, None)
        self._rows("PRAGMA wal_checkpoint(TRUNCATE)")
        return entry

    def entries(self, trial_id: int) -> list[Entry]:
        """All that was ever written of a trial, in the order of writing."""
        rows = self._rows(f"SELECT {_ENTRY} FROM entries WHERE trial_id = ? ORDER BY id", trial_id)
        return [_entry(r) for r in rows]

    def note(self, trial_id: int, time_ns: int, by: str, text: str, kind: str = "note") -> Note:
        """Write words down.

        Args:
            time_ns: when it happened, UTC nanoseconds.

        Raises:
            WrongInput: as ``write``.
        """
        data = {"text": text.strip(), "kind": kind}
        return _note(self.write(trial_id, What.NOTE, data, time_ns=time_ns, by=by))

    def notes(self, trial_id: int) -> list[Note]:
        """The trial's notes that stand, in the order of their times."""
        return [_note(e) for e in book_of(self.entries(trial_id)).all_of(What.NOTE)]

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
        with Transaction(self._db):  # two programs that open it at once do not both bring it up
            found = self._bring_up()
        if found != SCHEMA_VERSION:
            raise StoredDataDamaged(
                f"{self.path}: a trial record of form {found}, this program reads form {SCHEMA_VERSION}; "
                "use the version of meltledger that wrote it, or a later one"
            )
        self._inode = self.path.stat().st_ino

    def _bring_up(self) -> int:
        """Make the tables, or those of an earlier form into ours; which form the file has then."""
        self._db.execute(_META)
        kept = self._db.execute("SELECT value FROM meta WHERE key = 'schema'").fetchone()
        found = SCHEMA_VERSION if kept is None else int(kept[0])
        if found > SCHEMA_VERSION:
            return found
        for statement in _statements(_SCHEMA):
            self._db.execute(statement)
        self._db.execute("INSERT OR IGNORE INTO meta VALUES ('schema', ?)", (str(SCHEMA_VERSION),))
        if found == 1:
            for statement in _statements(_FROM_1):
                self._db.execute(statement)
            self._db.execute("UPDATE meta SET value = ? WHERE key = 'schema'", (str(SCHEMA_VERSION),))
            found = SCHEMA_VERSION
        return found

    def _entry(self, id: int) -> Entry:
        rows = self._rows(f"SELECT {_ENTRY} FROM entries WHERE id = ?", id)
        if not rows:
            raise WrongInput(f"there is no entry number {id} in {self.path}")
        return _entry(rows[0])

    def _check_replaced(self, id: int, trial_id: int, what: What) -> None:
        old = self._entry(id)
        if old.trial_id != trial_id:
            raise WrongInput(f"entry {id} is of another trial")
        if old.what is not what:
            raise WrongInput(f"entry {id} is a {old.what}, which a {what} cannot correct")
        if self._rows("SELECT 1 FROM entries WHERE replaces = ?", id):
            raise WrongInput(f"entry {id} was corrected or taken back already; correct the newest one")

    def _add(
        self,
        trial_id: int,
        what: What,
        data: Mapping[str, Any],
        time_ns: int,
        entered_ns: int,
        by: str,
        replaces: int | None,
    ) -> Entry:
        self._trial(trial_id)
        sealed = self._rows(
            "SELECT 1 FROM entries WHERE trial_id = ? AND what = ?", trial_id, str(What.SEALED)
        )
        body = json.dumps(data, ensure_ascii=False)
        row = (trial_id, str(what), time_ns, entered_ns, by, body, replaces, int(bool(sealed)))
        made = self._db.execute(
            "INSERT INTO entries (trial_id, what, time_ns, entered_ns, by, data, replaces, addendum) "
            "VALUES (?,?,?,?,?,?,?,?)",
            row,
        )
        id = int(made.lastrowid or 0)
        self._note_change(by, f"{what} written", trial_id, {"entry": id, "replaces": replaces, **data})
        return Entry(id, trial_id, what, time_ns, entered_ns, by, data, replaces, bool(sealed))

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
            with Transaction(self._db):
                yield self._db

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


def _called(trial: Trial) -> str:
    """How a trial is called when what it said is gone: its own name may tell whose it was."""
    return f"{trial.code_name or 'trial'}-{trial.id}"


def _entry(row: tuple[Any, ...]) -> Entry:
    id, trial_id, what, time_ns, entered_ns, by, data, replaces, addendum = row
    told = json.loads(data)
    return Entry(id, trial_id, What(what), time_ns, entered_ns, by, told, replaces, bool(addendum))


def _note(entry: Entry) -> Note:
    text, kind = str(entry.data["text"]), str(entry.data.get("kind", "note"))
    return Note(entry.id, entry.trial_id, entry.time_ns, entry.by, text, kind)


def _statements(script: str) -> Iterator[str]:
    """A script's statements, one by one: sqlite3's own way of running one commits before it begins."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
