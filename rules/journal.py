"""The journal of a line on disk: entries, people's acts, and the rules' last saved state.

Two processes write: ``run`` appends entries, ``serve`` appends acts. One SQLite file in WAL mode, flushed to
disk at every commit; not for network file systems. Nothing in it is ever changed or deleted but the saved
state.
"""

from __future__ import annotations

import json
import sqlite3
import threading
import uuid
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from historian.errors import (
    MeltledgerError,
    OutsideWorldAway,
    StoredDataDamaged,
    StoreFull,
    StoreReadOnly,
    WrongInput,
)
from historian.event import Event
from historian.transaction import Transaction
from rules.entry import Act, ActKind, Entry, EntryKind, plain
from rules.finding import Priority
from rules.states import State

SCHEMA_VERSION = 1
_BUSY_MS = 10_000
_LONGEST_TEXT = 2000
_KEYS_AT_ONCE = 500

_OF_MACHINES = ("machine-alarm", "machine-event")
"""Kinds of event that tell what a machine says of itself; see ``collector.machine_alarms``."""

_SCHEMA = """
CREATE TABLE IF NOT EXISTS meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS entries (
  id INTEGER PRIMARY KEY AUTOINCREMENT, key TEXT NOT NULL UNIQUE, time_ns INTEGER NOT NULL,
  kind TEXT NOT NULL, rule TEXT NOT NULL, subject TEXT NOT NULL, by TEXT NOT NULL, data TEXT NOT NULL);
CREATE INDEX IF NOT EXISTS entries_by_time ON entries (time_ns);
CREATE INDEX IF NOT EXISTS entries_by_alarm ON entries (kind, rule, subject, id);
CREATE TABLE IF NOT EXISTS acts (
  id INTEGER PRIMARY KEY AUTOINCREMENT, time_ns INTEGER NOT NULL, by TEXT NOT NULL, role TEXT NOT NULL,
  what TEXT NOT NULL, rule TEXT NOT NULL, subject TEXT NOT NULL, reason TEXT NOT NULL, until_ns INTEGER,
  text TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS snapshot (
  one INTEGER PRIMARY KEY CHECK (one = 1), seq INTEGER NOT NULL, at_ns INTEGER NOT NULL, state TEXT NOT NULL);
"""
_ENTRY = "key, time_ns, kind, rule, subject, by, data"
_ACT = "id, time_ns, by, role, what, rule, subject, reason, until_ns, text"
_FULL = {sqlite3.SQLITE_FULL}
_CLOSED = {
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_PERM,
    sqlite3.SQLITE_AUTH,
    sqlite3.SQLITE_IOERR,
}
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}


@dataclass(frozen=True, slots=True)
class AlarmNow:
    """How one alarm stands, as its last transition says.

    Attributes:
        state: of the life cycle.
        condition: whether what the rule looks for holds, seen or hidden.
        onset_ns: when the condition is thought to have begun.
        since_ns: when the state was entered.
        evidence: the window and the figures, see ``Finding``, as JSON types.
        shelved_until_ns: end of the shelf; None when it is not shelved.
        by: who brought it into this state: a person, or "rules".
        reason: in that person's words; of a consequence, what it is one of.
        root: rule and subject of the alarm of which this one is a consequence; None when it is none.
    """

    rule: str
    subject: str
    state: State
    condition: bool
    priority: Priority
    sentence: str
    advice: str
    onset_ns: int
    since_ns: int
    evidence: Mapping[str, Any]
    shelved_until_ns: int | None
    by: str
    reason: str
    root: tuple[str, str] | None = None


class Journal:
    """One line's journal; its methods may be called from several threads."""

    def __init__(self, path: Path, mode: Literal["write", "read"]) -> None:
        self.path = path
        self._lock = threading.RLock()
        self._writes = mode == "write"
        with self._told("open"):
            self._db = _connect(path, mode)
        try:
            with self._told("open"):
                self._check_schema()
                self._inode = path.stat().st_ino
        except BaseException:
            self._db.close()
            raise

    @classmethod
    def open(cls, path: Path, mode: Literal["write", "read"] = "write") -> Journal:
        """The journal in this file; made when it is not there and ``mode`` is "write".

        Raises:
            StoreReadOnly: the file or its folder cannot be written, or (reading) is not there.
            StoredDataDamaged: the file is no journal, or one of a later version.
        """
        return cls(path, mode)

    def append(
        self, entries: Iterable[Entry], snapshot: tuple[int, int, Mapping[str, Any]] | None = None
    ) -> int:
        """Keep the entries, and the rules' saved state with them: all or none, on disk on return.

        Args:
            entries: those whose key is known already are passed over.
            snapshot: number of the last judged frame, its arrival in UTC nanoseconds, ``Engine.save()``.

        Returns:
            how many entries were new.

        Raises:
            StoreFull, StoreReadOnly: nothing of this call was kept; what was kept before stays readable.
        """
        rows = [_row(e) for e in entries]
        with self._transaction("write") as db:
            before = db.total_changes
            db.executemany(
                f"INSERT INTO entries ({_ENTRY}) VALUES (?,?,?,?,?,?,?) ON CONFLICT (key) DO NOTHING", rows
            )
            new = db.total_changes - before
            if snapshot is not None:
                seq, at_ns, state = snapshot
                db.execute(
                    "INSERT OR REPLACE INTO snapshot (one, seq, at_ns, state) VALUES (1,?,?,?)",
                    (seq, at_ns, _text(state)),
                )
        return new

    def known(self, keys: Collection[str]) -> set[str]:
        """Those of the keys that the journal has an entry of."""
        every, found = list(keys), set[str]()
        for n in range(0, len(every), _KEYS_AT_ONCE):
            some = every[n : n + _KEYS_AT_ONCE]
            rows = self._rows(f"SELECT key FROM entries WHERE key IN ({','.join('?' * len(some))})", *some)
            found |= {r["key"] for r in rows}
        return found

    def event(self, event: Event) -> None:
        """Keep an event: a sink as ``historian.event.EventSink`` describes it."""
        data = {"kind": event.kind, "text": event.text, "data": event.data}
        key, kind, about = f"event/{uuid.uuid4().hex}", EntryKind.EVENT, ("", "")
        if event.kind in _OF_MACHINES:
            kind, about = EntryKind.MACHINE, (event.source, str(event.data.get("condition", "")))
        self.append([Entry(key, event.time_ns, kind, *about, by=event.source, data=data)])

    def record_act(self, act: Act) -> int:
        """Keep what a person did, with an entry that says so; ``run`` will take it.

        Returns:
            the act's number; numbers rise.

        Raises:
            WrongInput: something that this kind of act needs is missing.
        """
        _check(act)
        with self._transaction("write") as db:
            columns = (act.time_ns, act.by, act.role, str(act.what), act.rule, act.subject)
            made = db.execute(
                f"INSERT INTO acts ({_ACT}) VALUES (NULL,?,?,?,?,?,?,?,?,?)",
                (*columns, act.reason, act.until_ns, act.text),
            )
            number = int(made.lastrowid or 0)
            kind = EntryKind.ACT if act.what.needs_alarm else EntryKind.NOTE
            data = {"act": number, "what": act.what, "role": act.role, "reason": act.reason}
            data |= {"until_ns": act.until_ns, "text": act.text}
            entry = Entry(f"act/{number}", act.time_ns, kind, act.rule, act.subject, act.by, data)
            db.execute(f"INSERT INTO entries ({_ENTRY}) VALUES (?,?,?,?,?,?,?)", _row(entry))
        return number

    def acts_after(self, id: int) -> list[Act]:
        """The acts with a greater number, in order."""
        rows = self._rows(f"SELECT {_ACT} FROM acts WHERE id > ? ORDER BY id", id)
        return [Act(**{**dict(r), "what": ActKind(r["what"])}) for r in rows]

    def taken(self) -> dict[int, int]:
        """Act number → the second of arrival in which the life cycle took it."""
        rows = self._rows("SELECT key, data FROM entries WHERE kind = ?", EntryKind.ACT_TAKEN)
        return {json.loads(r["data"])["act"]: _second_of(r["key"]) for r in rows}

    def last_second(self) -> int | None:
        """The last second of arrival of which the rules' entries tell; None when there are none."""
        rows = self._rows(
            "SELECT key FROM entries WHERE kind IN (?,?,?,?) ORDER BY id DESC LIMIT 1000",
            EntryKind.FINDING,
            EntryKind.TRANSITION,
            EntryKind.ACT_TAKEN,
            EntryKind.REFUSED,
        )
        return max((_second_of(r["key"]) for r in rows), default=None)

    def entries(
        self,
        start_ns: int | None = None,
        end_ns: int | None = None,
        kinds: Collection[EntryKind | str] | None = None,
        limit: int | None = None,
    ) -> list[Entry]:
        """The entries with start ≤ time < end in the order of their times; with a limit, the newest ones."""
        where = ["1"]
        values: list[int | str] = []
        if start_ns is not None:
            where, values = [*where, "time_ns >= ?"], [*values, start_ns]
        if end_ns is not None:
            where, values = [*where, "time_ns < ?"], [*values, end_ns]
        if kinds is not None:
            where = [*where, f"kind IN ({','.join('?' * len(kinds))})"]
            values = [*values, *(str(k) for k in kinds)]
        rows = self._rows(
            f"SELECT {_ENTRY} FROM entries WHERE {' AND '.join(where)} "
            "ORDER BY time_ns DESC, id DESC LIMIT ?",
            *values,
            -1 if limit is None else limit,
        )
        return [_entry(r) for r in reversed(rows)]

    def entries_after(self, id: int, limit: int = 10_000) -> list[tuple[int, Entry]]:
        """The entries with a greater number, with their numbers, in the order in which they were written."""
        rows = self._rows(f"SELECT id, {_ENTRY} FROM entries WHERE id > ? ORDER BY id LIMIT ?", id, limit)
        return [(int(r["id"]), _entry(r)) for r in rows]

    def snapshot(self) -> tuple[int, int, dict[str, Any]] | None:
        """The rules' last saved state as ``append`` got it; None when there is none."""
        for row in self._rows("SELECT seq, at_ns, state FROM snapshot"):
            return row["seq"], row["at_ns"], json.loads(row["state"])
        return None

    def alarms(self, *, normal: bool = False) -> list[AlarmNow]:
        """How the alarms stand that are not normal, gravest and then oldest first.

        Args:
            normal: give those that are normal again as well.
        """
        rows = self._rows(
            f"SELECT {_ENTRY} FROM entries WHERE id IN "
            "(SELECT max(id) FROM entries WHERE kind = ? GROUP BY rule, subject)",
            EntryKind.TRANSITION,
        )
        now = [_alarm(_entry(r)) for r in rows]
        shown = [a for a in now if normal or a.state is not State.NORMAL]
        return sorted(shown, key=lambda a: (-a.priority, a.since_ns, a.rule, a.subject))

    def machine_alarms(self, *, over: bool = False) -> list[Entry]:
        """The machines' last word on each of their own alarms that stands, in the order of the words.

        ``data["data"]`` of each is what ``collector.machine_alarms.MachineAlarm`` holds, as JSON types.

        Args:
            over: give those that do not stand any more as well.
        """
        rows = self._rows(
            f"SELECT {_ENTRY} FROM entries WHERE id IN "
            "(SELECT max(id) FROM entries WHERE kind = ? AND subject != '' GROUP BY rule, subject) "
            "ORDER BY id",
            EntryKind.MACHINE,
        )
        last = [_entry(r) for r in rows]
        return last if over else [e for e in last if e.data["data"].get("retain")]

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._db.close()

    def _check_schema(self) -> None:
        if self._writes:
            # One transaction: whoever reads meanwhile finds all of it or nothing.
            form = f"INSERT OR IGNORE INTO meta VALUES ('schema', '{SCHEMA_VERSION}');"
            self._db.executescript(f"BEGIN IMMEDIATE; {_SCHEMA} {form} COMMIT;")
        elif not self._db.execute("SELECT 1 FROM sqlite_master").fetchone():
            raise StoreReadOnly(f"{self.path}: there is no journal here yet; start `meltledger run` first")
        if not self._db.execute("SELECT 1 FROM sqlite_master WHERE name = 'meta'").fetchone():
            raise StoredDataDamaged(f"{self.path} is not a journal; move it away or name another file")
        found = self._db.execute("SELECT value FROM meta WHERE key = 'schema'").fetchone()
        if found is None or int(found[0]) != SCHEMA_VERSION:
            raise StoredDataDamaged(
                f"{self.path}: a journal of form {found and found[0]}, this program reads form "
                f"{SCHEMA_VERSION}; use the version of meltledger that wrote it, or a later one"
            )

    def _rows(self, sql: str, *values: object) -> list[sqlite3.Row]:
        with self._lock, self._told("read"):
            return self._db.execute(sql, values).fetchall()

    @contextmanager
    def _transaction(self, doing: str) -> Iterator[sqlite3.Connection]:
        if not self._writes:
            raise WrongInput(f"{self.path} was opened for reading; open it with mode='write' to add to it")
        with self._lock, self._told(doing):
            self._check_in_place()
            with Transaction(self._db):
                yield self._db

    def _check_in_place(self) -> None:
        """SQLite goes on writing into a deleted file without a word, so look before each write."""
        try:
            same = self.path.stat().st_ino == self._inode
        except OSError:
            same = False
        if not same:
            raise StoreReadOnly(
                f"{self.path} was moved, deleted or its disk taken away while in use: "
                "bring it back, then start again"
            )

    @contextmanager
    def _told(self, doing: str) -> Iterator[None]:
        """Says what went wrong with the file, where, and what to do."""
        try:
            yield
        except sqlite3.Error as error:
            raise in_our_words(error, self.path, doing) from error
        except OSError as error:
            raise StoreReadOnly(f"cannot {doing} {self.path}: {error.strerror}; check the folder") from error


def _connect(path: Path, mode: Literal["write", "read"]) -> sqlite3.Connection:
    if mode == "write":
        path.parent.mkdir(parents=True, exist_ok=True)
    uri = f"{path.absolute().as_uri()}?mode={'rwc' if mode == 'write' else 'ro'}"
    db = sqlite3.connect(
        uri, uri=True, timeout=_BUSY_MS / 1000, isolation_level=None, check_same_thread=False
    )
    db.row_factory = sqlite3.Row
    try:
        if mode == "write":
            if db.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                db.execute("PRAGMA journal_mode=WAL")
            db.execute("PRAGMA synchronous=FULL")
    except BaseException:
        db.close()
        raise
    return db


def in_our_words(error: sqlite3.Error, path: Path, doing: str) -> MeltledgerError:
    """What went wrong with an SQLite file, as our error: what, where, what to do."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in _FULL:
        return StoreFull(
            f"cannot {doing} {path}: the disk is full; make room, nothing is lost of what was kept"
        )
    if code in _CLOSED:
        return StoreReadOnly(
            f"cannot {doing} {path}: {error}; check that disk and folder are there and writable"
        )
    if code in _BUSY:
        return OutsideWorldAway(f"cannot {doing} {path}: another program holds it ({error}); try again")
    if code in _DAMAGED:
        return StoredDataDamaged(f"cannot {doing} {path}: {error}; restore it from a copy or move it away")
    return MeltledgerError(f"cannot {doing} {path}: {error}; please report this")


def _check(act: Act) -> None:
    """Refuse an act that lacks something.

    Raises:
        WrongInput: naming what is missing.
    """
    missing = [name for name in ("by", "role") if not getattr(act, name).strip()]
    if act.what.needs_alarm:
        missing += [name for name in ("rule", "subject") if not getattr(act, name).strip()]
    elif not act.text.strip():
        missing.append("text")
    if act.what is ActKind.REPAIRED and not act.subject.strip():
        missing.append("subject")
    if act.what in (ActKind.SHELVE, ActKind.OUT_OF_SERVICE) and not act.reason.strip():
        missing.append("reason")
    if act.what is ActKind.SHELVE and act.until_ns is None:
        missing.append("until_ns")
    if act.time_ns <= 0:
        missing.append("time_ns")
    if missing:
        raise WrongInput(f"the act '{act.what}' needs {', '.join(missing)}")
    if any("\ud800" <= c <= "\udfff" for c in act.by + act.rule + act.subject + act.reason + act.text):
        raise WrongInput(f"the words of the act '{act.what}' are no text: half of a character is missing")
    if max(len(act.text), len(act.reason)) > _LONGEST_TEXT:
        raise WrongInput(f"the words of an act may have at most {_LONGEST_TEXT} characters")


def _row(entry: Entry) -> tuple[object, ...]:
    words = (_whole(entry.rule), _whole(entry.subject), _whole(entry.by))
    return (entry.key, int(entry.time_ns), str(entry.kind), *words, _text(entry.data))


def _text(data: Mapping[str, Any]) -> str:
    return _whole(json.dumps(plain(data), ensure_ascii=False, allow_nan=False, separators=(",", ":")))


def _whole(text: str) -> str:
    """A text that can be written: what a machine sends may hold bytes that are no text."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _entry(row: sqlite3.Row) -> Entry:
    values = {k: row[k] for k in row.keys() if k != "id"}  # noqa: SIM118 - iterating a Row gives values
    return Entry(**{**values, "kind": EntryKind(row["kind"]), "data": json.loads(row["data"])})


def _second_of(key: str) -> int:
    return int(key.split("/", 1)[0])


def _alarm(entry: Entry) -> AlarmNow:
    data = entry.data
    words = (data["sentence"], data["advice"], data["onset_ns"], data["since_ns"], data["evidence"])
    state = (State(data["to"]), bool(data["condition"]), Priority(data["priority"]))
    who = (data["until_ns"], data["by"], data["reason"])
    root = data.get("root")  # not there in what was written before alarms were grouped
    return AlarmNow(entry.rule, entry.subject, *state, *words, *who, (root[0], root[1]) if root else None)
