"""Frames that wait on this host's disk until the server has them, in order of arrival.

One SQLite file beside the line. What gives frames their number and the time of their point stands here too,
so that a frame which is sent twice is the same points both times. The last frames that were delivered, and
the newest sample of each tag, stay here: a writer that starts while the server is away goes on from them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from historian.embedded.rows import decode, encode
from historian.errors import StoredDataDamaged, WrongInput
from historian.frame import Frame
from historian.influx.lines import Numbered
from historian.told import told
from historian.transaction import Transaction

_SCHEMA = 1
# Enough for what a start looks back on; the second bound keeps an import from filling the disk.
_KEPT_FRAMES = 2_500
_KEPT_SAMPLES = 2_000_000
_TABLES = (
    "CREATE TABLE IF NOT EXISTS meta (key TEXT PRIMARY KEY, value)",
    "CREATE TABLE IF NOT EXISTS tags (id INTEGER PRIMARY KEY, path TEXT NOT NULL UNIQUE, body TEXT NOT NULL)",
    "CREATE TABLE IF NOT EXISTS waiting (number INTEGER PRIMARY KEY, key_ns INTEGER NOT NULL, "
    "arrival_ns INTEGER NOT NULL, samples INTEGER NOT NULL, body BLOB NOT NULL)",
    # What the server will never take, kept for a person to decide on.
    "CREATE TABLE IF NOT EXISTS refused (number INTEGER PRIMARY KEY, key_ns INTEGER NOT NULL, "
    "reason TEXT NOT NULL, body BLOB NOT NULL)",
)


_FIRST = (
    "SELECT min(number) FROM waiting WHERE number>coalesce((SELECT value FROM meta WHERE key='delivered'), 0)"
)


class Waiting:
    """The waiting room of one line; each thread opens its own."""

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self.path = path
        self._db = db

    @classmethod
    def open(cls, path: Path, line: str, *, synced: bool = True) -> Waiting:
        """Open the file, or make it.

        Args:
            line: name of the line; a file of another line is not taken.
            synced: every commit is on disk when it returns. Taking out what was delivered needs no sync:
                what comes back after a power cut is delivered again, as the same points.

        Raises:
            WrongInput: the file belongs to another line or a newer release.
            StoreReadOnly, StoreFull, StoredDataDamaged: naming the file.
        """
        with told(path):
            path.parent.mkdir(parents=True, exist_ok=True)
            db = sqlite3.connect(path, isolation_level=None, timeout=10, check_same_thread=False)
            db.execute("PRAGMA journal_mode=WAL")
            db.execute(f"PRAGMA synchronous={'FULL' if synced else 'NORMAL'}")
            found = cls(path, db)
            with Transaction(db):
                for statement in _TABLES:
                    db.execute(statement)
                db.execute("INSERT OR IGNORE INTO meta VALUES ('schema', ?), ('line', ?)", (_SCHEMA, line))
        if int(found._meta("schema")) > _SCHEMA or found._meta("line") != line:
            owner, schema = found._meta("line"), found._meta("schema")
            db.close()
            raise WrongInput(
                f"{path} is the waiting room of line {owner} (schema {schema}), not of {line}; "
                "give each line a folder of its own, and let the newest release open it"
            )
        return found

    def knows_server(self) -> bool:
        """Whether the numbers go on from what the server holds."""
        return self._meta("server") is not None

    def go_on_from(self, number: int, key_ns: int) -> None:
        """Let the next frame come after this one of the server's."""
        with told(self.path), Transaction(self._db):
            last, last_key = self._last()
            self._put(max(last, number), max(last_key, key_ns))
            self._db.execute("INSERT OR IGNORE INTO meta VALUES ('server', 1)")

    def put_tags(self, rows: Iterable[tuple[int, str, str]]) -> None:
        """Keep (number, path, JSON body), new or changed."""
        with told(self.path), Transaction(self._db):
            self._db.executemany(
                "INSERT INTO tags VALUES (?,?,?) ON CONFLICT (id) DO UPDATE SET body=excluded.body", rows
            )

    def tag_rows(self) -> list[tuple[int, str]]:
        """Number and JSON body of each tag."""
        with told(self.path):
            return self._db.execute("SELECT id, body FROM tags ORDER BY id").fetchall()

    def append(self, frames: Sequence[Frame]) -> int:
        """Keep the frames in one synced transaction; gives the last arrival number."""
        with told(self.path), Transaction(self._db):
            number, key_ns = self._last()
            rows = []
            for frame in frames:
                number, key_ns = number + 1, max(key_ns + 1, frame.arrival_ns)
                rows.append((number, key_ns, frame.arrival_ns, len(frame), encode([frame])))
            self._db.executemany("INSERT INTO waiting VALUES (?,?,?,?,?)", rows)
            self._put(number, key_ns)
        return number

    def last_number(self) -> int:
        """Arrival number of the last frame, waiting or delivered; 0 before the first."""
        return self._last()[0]

    def first(self, samples: int) -> list[Numbered]:
        """The frames that have waited longest, at least one, up to so many samples.

        Raises:
            StoredDataDamaged: the very first one is damaged; see ``set_first_aside``.
        """
        found: list[Numbered] = []
        count = 0
        try:
            for one in self._rows("WHERE number>? ORDER BY number LIMIT 2000", (self.delivered_number(),)):
                count += len(one.frame)
                if found and count > samples:
                    break
                found.append(one)
        except StoredDataDamaged:
            if not found:
                raise
        return found

    def after(self, number: int, limit: int = 500) -> list[Numbered]:
        """The frames after a number that are here, waiting or not, in order; none after a gap.

        Raises:
            StoredDataDamaged: the first of them is damaged and waits; a delivered one is a gap.
        """
        found: list[Numbered] = []
        try:
            for one in self._rows("WHERE number>? ORDER BY number LIMIT ?", (number, limit)):
                if found and one.number != found[-1].number + 1:
                    break
                found.append(one)
        except StoredDataDamaged:
            if not found and self.delivered_number() <= number:
                raise
        return found

    def readable_after(self, number: int) -> Iterator[Numbered]:
        """The frames after a number that are here, in order, without damaged ones."""
        with told(self.path):
            query = "SELECT number FROM waiting WHERE number>? ORDER BY number"
            numbers = [n for (n,) in self._db.execute(query, (number,))]
        for one in numbers:
            with suppress(StoredDataDamaged):
                yield from self._rows("WHERE number=?", (one,))

    def delivered(self, number: int, newest: bytes) -> None:
        """Count everything up to a number as delivered, and let go of what no start looks back on.

        Args:
            newest: the newest sample of each tag up to there, for ``newest``.
        """
        with told(self.path), Transaction(self._db):
            self._db.execute("INSERT OR REPLACE INTO meta VALUES ('delivered', ?)", (number,))
            self._db.execute("INSERT OR REPLACE INTO meta VALUES ('newest', ?)", (newest,))
            self._db.execute("DELETE FROM waiting WHERE number<=?", (number - _KEPT_FRAMES,))
            self._db.execute(
                "DELETE FROM waiting WHERE number<=(SELECT max(number) FROM (SELECT number, sum(samples) "
                "OVER (ORDER BY number DESC) AS kept FROM waiting WHERE number<=?) WHERE kept>?)",
                (number, _KEPT_SAMPLES),
            )

    def delivered_number(self) -> int:
        """Up to which arrival number frames were delivered; 0 when none was."""
        return int(self._meta("delivered") or 0)

    def newest(self) -> bytes | None:
        """What ``delivered`` or ``put_newest`` was given last."""
        found: bytes | None = self._meta("newest")
        return found

    def put_newest(self, newest: bytes) -> None:
        """Keep the newest sample of each tag, as the server told it."""
        with told(self.path), Transaction(self._db):
            self._db.execute("INSERT OR REPLACE INTO meta VALUES ('newest', ?)", (newest,))

    def set_aside(self, frame: Numbered, reason: str) -> None:
        """Keep a frame that the server refused."""
        row = (frame.number, frame.key_ns, reason, encode([frame.frame]))
        with told(self.path), Transaction(self._db):
            self._db.execute("INSERT OR REPLACE INTO refused VALUES (?,?,?,?)", row)

    def set_first_aside(self, reason: str) -> None:
        """Keep the frame that has waited longest among the refused ones, as it is, and take it out."""
        with told(self.path), Transaction(self._db):
            self._db.execute(
                "INSERT OR REPLACE INTO refused "
                f"SELECT number, key_ns, ?, body FROM waiting WHERE number=({_FIRST})",
                (reason,),
            )
            self._db.execute(f"DELETE FROM waiting WHERE number=({_FIRST})")

    def refused(self) -> list[tuple[int, str]]:
        """Number and reason of each frame that the server refused."""
        with told(self.path):
            return self._db.execute("SELECT number, reason FROM refused ORDER BY number").fetchall()

    def length(self) -> tuple[int, int, int | None]:
        """How many frames and samples wait, and when the oldest of them arrived (UTC ns)."""
        with told(self.path):
            found: tuple[int, int, int | None] = self._db.execute(
                "SELECT count(*), coalesce(sum(samples), 0), min(arrival_ns) FROM waiting WHERE number>?",
                (self.delivered_number(),),
            ).fetchone()
        return found

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def _rows(self, clause: str, values: tuple[int, ...]) -> Iterator[Numbered]:
        with told(self.path):
            rows = self._db.execute(f"SELECT number, key_ns, body FROM waiting {clause}", values)
            for number, key_ns, body in rows:
                row = decode(body, number, number, where=f"{self.path}, frame {number}")
                yield Numbered(number, key_ns, next(row.frames())[1])

    def _meta(self, key: str) -> Any:
        with told(self.path):
            found = self._db.execute("SELECT value FROM meta WHERE key=?", (key,)).fetchone()
        return found[0] if found else None

    def _last(self) -> tuple[int, int]:
        with told(self.path):
            rows = dict(self._db.execute("SELECT key, value FROM meta WHERE key IN ('last', 'last_key')"))
        return int(rows.get("last", 0)), int(rows.get("last_key", -(2**62)))

    def _put(self, last: int, last_key: int) -> None:
        self._db.execute("INSERT OR REPLACE INTO meta VALUES ('last', ?), ('last_key', ?)", (last, last_key))
