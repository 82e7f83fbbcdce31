"""What is to be sent, on disk until it is: each digest once to each recipient, in order.

A post is in one of four states, and every change is on disk before the next step is taken:

- *waiting*: nobody has it yet; tried again with growing pauses.
- *handed over*: written just before the last byte leaves that makes the other side take it.
- *sent*: the other side has said that it took it.
- *refused*: the other side has said that it never will.

A process that is killed, or a connection that breaks, between *handed over* and *sent* leaves a post of
which nobody here knows whether it arrived. It is not sent again by itself: that would be twice. It is told,
with its stable Message-ID, in the journal and in the next digest, and a person may have it sent again.
"""

from __future__ import annotations

import fcntl
import os
import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

from historian.errors import StoredDataDamaged, StoreReadOnly
from historian.frame import NS
from historian.transaction import Transaction
from rules.journal import in_our_words

SCHEMA_VERSION: Final = 1
FIRST_PAUSE_NS: Final = 60 * NS
LONGEST_PAUSE_NS: Final = 3600 * NS

_SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS posts (
  id INTEGER PRIMARY KEY AUTOINCREMENT, period TEXT NOT NULL, recipient TEXT NOT NULL, name TEXT NOT NULL,
  body BLOB NOT NULL, state TEXT NOT NULL, tries INTEGER NOT NULL DEFAULT 0,
  next_ns INTEGER NOT NULL DEFAULT 0, changed_ns INTEGER NOT NULL, said TEXT NOT NULL DEFAULT '',
  UNIQUE (period, recipient));
CREATE INDEX IF NOT EXISTS posts_by_state ON posts (state, id);
"""
_POST: Final = "id, period, recipient, name, body, state, tries, next_ns, changed_ns, said"


class State(StrEnum):
    """Where a post stands."""

    WAITING = "waiting"
    HANDED_OVER = "handed over"
    SENT = "sent"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Letter:
    """What is to be put into the outbox.

    Attributes:
        recipient: way and address: ``mail:a@site.example``, ``post:https://…``, ``file:/folder``.
        name: its stable name: the Message-ID of a mail, the file's name of a file.
        body: what goes over the wire.
    """

    recipient: str
    name: str
    body: bytes


@dataclass(frozen=True, slots=True)
class Post:
    """A letter in the outbox.

    Attributes:
        id: rises in the order in which the letters came.
        period: key of the digest's period.
        tries: how often it was tried in vain.
        next_ns: not before this time, UTC nanoseconds.
        changed_ns: when it came into its state.
        said: the other side's last word, or why it was put off.
    """

    id: int
    period: str
    recipient: str
    name: str
    body: bytes
    state: State
    tries: int
    next_ns: int
    changed_ns: int
    said: str


class Outbox:
    """The outbox of one line, in one SQLite file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.RLock()
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreReadOnly(
                f"{path.parent}: cannot be made ({error.strerror}); check the folder"
            ) from error
        with self._told("open"):
            self._db = sqlite3.connect(path, timeout=10, isolation_level=None, check_same_thread=False)
        self._db.row_factory = sqlite3.Row
        try:
            with self._told("open"):
                self._db.execute("PRAGMA journal_mode=WAL")
                self._db.execute("PRAGMA synchronous=FULL")
                form = f"INSERT OR IGNORE INTO meta VALUES ('schema', '{SCHEMA_VERSION}');"
                self._db.executescript(f"BEGIN IMMEDIATE; {_SCHEMA} {form} COMMIT;")
                found = self._db.execute("SELECT value FROM meta WHERE key = 'schema'").fetchone()
            if int(found[0]) != SCHEMA_VERSION:
                raise StoredDataDamaged(
                    f"{path}: an outbox of form {found[0]}, this program reads form {SCHEMA_VERSION}; "
                    "use the version of meltledger that wrote it, or a later one"
                )
        except BaseException:
            self._db.close()
            raise

    def put(
        self, period: str, letters: Sequence[Letter], now_ns: int, *, made_until_ns: int | None = None
    ) -> int:
        """Keep the letters of a digest, all or none; a recipient that has one of this period gets no second.

        Args:
            made_until_ns: the digests of periods up to here are made; kept in the same step.

        Returns:
            how many were new.
        """
        with self._transaction() as db:
            before = db.total_changes
            db.executemany(
                "INSERT INTO posts (period, recipient, name, body, state, changed_ns) VALUES (?,?,?,?,?,?) "
                "ON CONFLICT (period, recipient) DO NOTHING",
                [(period, one.recipient, one.name, one.body, State.WAITING, now_ns) for one in letters],
            )
            new = db.total_changes - before
            if made_until_ns is not None:
                db.execute("INSERT OR REPLACE INTO meta VALUES ('made', ?)", (str(made_until_ns),))
        return new

    def made_until_ns(self, now_ns: int) -> int:
        """Up to when digests are made; a new outbox begins now."""
        with self._transaction() as db:
            db.execute("INSERT OR IGNORE INTO meta VALUES ('made', ?)", (str(now_ns),))
            return int(db.execute("SELECT value FROM meta WHERE key = 'made'").fetchone()[0])

    def due(self, now_ns: int) -> list[Post]:
        """The oldest waiting post of each recipient whose time has come: no later one overtakes it."""
        rows = self._rows(
            f"SELECT {_POST} FROM posts WHERE id IN "
            "(SELECT min(id) FROM posts WHERE state = ? GROUP BY recipient) ORDER BY id",
            State.WAITING,
        )
        return [p for p in map(_post, rows) if p.next_ns <= now_ns]

    def in_state(self, *states: State) -> list[Post]:
        """The posts in any of the states, in order."""
        marks = ",".join("?" * len(states))
        rows = self._rows(f"SELECT {_POST} FROM posts WHERE state IN ({marks}) ORDER BY id", *states)
        return [_post(r) for r in rows]

    def of_period(self, period: str) -> list[Post]:
        """The posts of a digest."""
        return [
            _post(r) for r in self._rows(f"SELECT {_POST} FROM posts WHERE period = ? ORDER BY id", period)
        ]

    def move(self, post: Post, state: State, now_ns: int, said: str = "") -> None:
        """Bring a post into a state; on disk on return."""
        with self._transaction() as db:
            db.execute(
                "UPDATE posts SET state = ?, changed_ns = ?, said = ? WHERE id = ?",
                (state, now_ns, said, post.id),
            )

    def put_off(self, post: Post, now_ns: int, said: str) -> None:
        """Try a post again later, after a pause that doubles up to an hour."""
        pause_ns = min(FIRST_PAUSE_NS << min(post.tries, 16), LONGEST_PAUSE_NS)
        with self._transaction() as db:
            db.execute(
                "UPDATE posts SET state = ?, tries = tries + 1, next_ns = ?, changed_ns = ?, said = ? "
                "WHERE id = ?",
                (State.WAITING, now_ns + pause_ns, now_ns, said, post.id),
            )

    def again(self, post: Post, now_ns: int) -> None:
        """A person wants a post sent once more, under its old name."""
        with self._transaction() as db:
            db.execute(
                "UPDATE posts SET state = ?, tries = 0, next_ns = 0, changed_ns = ?, said = ? WHERE id = ?",
                (State.WAITING, now_ns, "sent again by hand", post.id),
            )

    @contextmanager
    def emptying(self) -> Iterator[bool]:
        """Whether this process may send now: one at a time; the kernel lets go when it ends, however."""
        handle = os.open(self.path.with_suffix(".lock"), os.O_RDWR | os.O_CREAT, 0o600)
        try:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                yield False
                return
            yield True
        finally:
            os.close(handle)

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._db.close()

    def _rows(self, sql: str, *values: object) -> list[sqlite3.Row]:
        with self._lock, self._told("read"):
            return self._db.execute(sql, values).fetchall()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with self._lock, self._told("write"), Transaction(self._db):
            yield self._db

    @contextmanager
    def _told(self, doing: str) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise in_our_words(error, self.path, doing) from error


def _post(row: sqlite3.Row) -> Post:
    return Post(**{**{k: row[k] for k in row.keys()}, "state": State(row["state"])})  # noqa: SIM118
