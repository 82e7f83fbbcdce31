"""The newest samples on disk: whole frames as columnar blobs in SQLite, readable at once by other processes.

A row holds one frame, or the frames of a closed minute folded into one row: ``first_seq`` to ``seq`` are the
arrival numbers inside (see ``historian.embedded.rows``). The order of arrival is kept whole, because a replay
judges in that order. What is sealed in the archive is let go of here.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal

import numpy as np

from historian.embedded.folder import made
from historian.embedded.rows import Row, decode, encode
from historian.errors import WrongInput
from historian.frame import NS, Frame
from historian.told import told
from historian.transaction import Transaction

SCHEMA = 3
"""2: rows may be sealed and gone; ``sealed_seq`` says up to where. A file of schema 1 has all its rows.
3: rows may be of the second form (see ``historian.embedded.rows``); older ones stay as they are."""

_FOLD_SAMPLES = 100_000
_FOLD_SPAN_NS = 300 * NS
_AT_ONCE = 4  # rows deleted in one transaction: a row of a busy line takes megabytes

Synchronous = Literal["full", "normal"]
"""``full``: a commit is on disk. ``normal``: a power cut may take the last commits, never older ones."""

_TABLES = """
CREATE TABLE IF NOT EXISTS meta (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS tags (id INTEGER PRIMARY KEY, path TEXT NOT NULL UNIQUE, body TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS rows (
    seq INTEGER PRIMARY KEY,      -- arrival number of the last frame in the row
    first_seq INTEGER NOT NULL,   -- arrival number of the first one
    first_ns INTEGER NOT NULL,    -- oldest source time in the row
    last_ns INTEGER NOT NULL,     -- newest source time in the row
    arrival_ns INTEGER NOT NULL,  -- arrival of the last frame
    samples INTEGER NOT NULL,
    body BLOB NOT NULL
);
CREATE INDEX IF NOT EXISTS rows_by_time ON rows (last_ns, first_ns);
"""


class Recent:
    """The table of rows in one SQLite file (WAL).

    One process writes, through as many of these as it likes; any number read. Not for network file systems.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, synchronous: Synchronous = "full") -> None:
        self.path = path
        self._db = connection
        self._synchronous = synchronous
        self._folded_seq = 0
        self._first_seq = 1

    @classmethod
    def open(cls, path: Path, *, write: bool, synchronous: Synchronous = "full") -> Recent:
        """Open the file; a writer makes it where it is missing.

        Args:
            synchronous: what a commit promises.

        Raises:
            WrongInput: a reader finds no file; or it was written by a newer release.
            StoreReadOnly, StoreFull: a writer cannot write here.
            StoredDataDamaged: the file is not a database.
        """
        if not write and not path.exists():
            raise WrongInput(_NOT_YET.format(path=path))
        with told(path):
            if write:
                made(path.parent)
            mode = "rwc" if write else "ro"
            db = sqlite3.connect(
                f"file:{path}?mode={mode}",
                uri=True,
                isolation_level=None,
                check_same_thread=False,
                timeout=10,
            )
            if write:
                db.execute("PRAGMA journal_mode=WAL")
                db.execute("PRAGMA synchronous=FULL")
                db.execute("PRAGMA secure_delete=0")  # what is deleted stands in the archive
                db.execute("BEGIN IMMEDIATE")
                for statement in _TABLES.split(";"):
                    db.execute(statement)
                found = _schema_of(db)
                if found is None or int(found[0]) < SCHEMA:
                    db.execute("INSERT OR REPLACE INTO meta VALUES ('schema', ?)", (str(SCHEMA),))
                db.execute("COMMIT")
                db.execute(f"PRAGMA synchronous={synchronous.upper()}")
            else:
                db.execute("PRAGMA query_only=1")
            found = _schema_of(db)
        if found is None and not write:
            db.close()
            raise WrongInput(_NOT_YET.format(path=path))
        if found is None or int(found[0]) > SCHEMA:
            db.close()
            raise WrongInput(
                f"{path}: written by a newer meltledger (schema {found and found[0]}); update this one"
            )
        return cls(path, db, synchronous)

    def tag_rows(self) -> list[tuple[int, str]]:
        """Number and JSON body of each tag."""
        with told(self.path):
            return self._db.execute("SELECT id, body FROM tags ORDER BY id").fetchall()

    def put_tags(self, rows: Sequence[tuple[int, str, str]]) -> None:
        """Keep (number, path, JSON body), new or changed; on return they are on disk in any case.

        A number that segments hold already must not be given to another tag after a power cut.
        """
        with told(self.path):
            self._db.execute("PRAGMA synchronous=FULL")
            try:
                with self._transaction():
                    self._db.executemany(
                        "INSERT INTO tags VALUES (?,?,?) ON CONFLICT (id) DO UPDATE SET body=excluded.body",
                        rows,
                    )
            finally:
                self._db.execute(f"PRAGMA synchronous={self._synchronous.upper()}")

    def go_on_after(self, seq: int) -> None:
        """Let no frame get a number up to this one: the archive has it, though this file may not know."""
        self._first_seq = seq + 1

    def append(self, frames: Sequence[Frame]) -> int:
        """Keep the frames in one synced transaction; gives the last arrival number."""
        with told(self.path), self._transaction():
            seq = max(self.last_seq(), self._first_seq - 1)
            for frame in frames:
                seq += 1
                self._insert(seq, seq, [frame])
        return seq

    def fold(self, before_arrival_ns: int) -> int:
        """Fold single-frame rows that arrived before a time into few rows; gives how many went in.

        One transaction: a crash leaves either the single rows or the folded ones. Frames that were filled in
        later are not folded with the live ones around them: a row that spans hours would be read for every
        minute of them.
        """
        folded = 0
        with told(self.path), self._transaction():
            rows = self._db.execute(
                "SELECT seq, first_ns, last_ns, samples FROM rows "
                "WHERE seq>? AND first_seq=seq AND arrival_ns<? ORDER BY seq LIMIT 5000",
                (self._folded_seq, before_arrival_ns),
            ).fetchall()
            for group in _groups(rows):
                folded += self._fold_group([seq for seq, *_ in group])
            if rows:
                self._folded_seq = rows[-1][0]
        return folded

    def _fold_group(self, numbers: Sequence[int]) -> int:
        if len(numbers) < 2:
            return 0
        first, last = numbers[0], numbers[-1]
        bodies = self._db.execute(
            "SELECT seq, body FROM rows WHERE seq BETWEEN ? AND ? ORDER BY seq", (first, last)
        ).fetchall()
        rows = [decode(body, seq, seq, where=self._place(seq)) for seq, body in bodies]
        frames = [frame for row in rows for _, frame in row.frames()]
        self._db.execute("DELETE FROM rows WHERE seq BETWEEN ? AND ?", (first, last))
        self._insert(first, last, frames)
        return len(numbers)

    def _insert(self, first_seq: int, seq: int, frames: Sequence[Frame]) -> None:
        spans = [_span(f) for f in frames]
        low, high = min(s[0] for s in spans), max(s[1] for s in spans)
        samples = sum(len(f) for f in frames)
        self._db.execute(
            "INSERT INTO rows VALUES (?,?,?,?,?,?,?)",
            (seq, first_seq, low, high, frames[-1].arrival_ns, samples, encode(frames)),
        )

    def last_seq(self) -> int:
        """Arrival number of the last frame, let go of or not; 0 when there is none."""
        with told(self.path):
            found = self._db.execute("SELECT max(seq) FROM rows").fetchone()[0]
        return int(found) if found is not None else self.sealed_seq()

    def sealed_seq(self) -> int:
        """Up to which arrival number the rows were let go of."""
        with told(self.path):
            found = self._db.execute("SELECT value FROM meta WHERE key='sealed_seq'").fetchone()
        return int(found[0]) if found else 0

    def last_before(self, arrival_ns: int) -> int:
        """Number of the last frame that arrived before a time, whatever arrived before it; 0: none did."""
        with told(self.path):
            found = self._db.execute(
                "SELECT max(seq) FROM rows WHERE arrival_ns<?", (arrival_ns,)
            ).fetchone()[0]
        return int(found or 0)

    def newest_arrival_ns(self) -> int:
        """When the newest frame arrived; 0 when there is none."""
        with told(self.path):
            found = self._db.execute("SELECT arrival_ns FROM rows ORDER BY seq DESC LIMIT 1").fetchone()
        return int(found[0]) if found else 0

    def let_go(self, up_to_seq: int, newest: bytes) -> None:
        """Delete the rows whose frames all have numbers up to this one, because the archive holds them.

        A few rows a transaction: all at once would make the write-ahead log as large as what is deleted.
        After a stop in between, the next one takes the rest; nobody reads them meanwhile.

        Args:
            newest: the newest sample of each tag in them and in all before, for ``newest``.
        """
        with told(self.path), self._transaction():
            self._db.execute("INSERT OR REPLACE INTO meta VALUES ('sealed_seq', ?)", (str(up_to_seq),))
            self._db.execute("INSERT OR REPLACE INTO meta VALUES ('newest', ?)", (newest,))
        some = "SELECT seq FROM rows WHERE seq<=? ORDER BY seq LIMIT ?"
        gone = 1
        while gone:
            with told(self.path), self._transaction():
                found = self._db.execute(f"DELETE FROM rows WHERE seq IN ({some})", (up_to_seq, _AT_ONCE))
                gone = found.rowcount

    def scrub(self, newest: bytes) -> None:
        """Put other newest samples down, and leave no trace of what was ever deleted, in file or log.

        Args:
            newest: as for ``let_go``, up to the same number.
        """
        with told(self.path):
            self._db.execute("UPDATE meta SET value=? WHERE key='newest'", (newest,))
            self._db.execute("VACUUM")
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()

    def newest(self) -> tuple[int, bytes | None]:
        """Up to which number the rows were let go of, and what ``let_go`` was given with it."""
        with told(self.path):
            found = dict(
                self._db.execute("SELECT key, value FROM meta WHERE key IN ('sealed_seq', 'newest')")
            )
        return int(found.get("sealed_seq", 0)), found.get("newest")

    def rows_after(self, seq: int, *, limit: int = 200) -> list[Row]:
        """Up to ``limit`` rows that hold a frame later than ``seq``, in order of arrival."""
        return self._rows("WHERE seq>? ORDER BY seq LIMIT ?", (seq, limit))

    def rows_between(self, start_ns: int, end_ns: int) -> Iterator[Row]:
        """The rows that hold a source time in [start, end), in order of arrival."""
        with told(self.path):
            found = self._db.execute(
                "SELECT seq FROM rows WHERE last_ns>=? AND first_ns<? ORDER BY seq", (start_ns, end_ns)
            ).fetchall()
        for at in range(0, len(found), 500):
            part = [seq for (seq,) in found[at : at + 500]]
            # A minute that was folded meanwhile stands under its last number.
            yield from self._rows(
                "WHERE seq BETWEEN ? AND ? AND last_ns>=? AND first_ns<? ORDER BY seq",
                (part[0], part[-1], start_ns, end_ns),
            )

    def span(self) -> tuple[int, int] | None:
        """Oldest and newest source time of all rows."""
        with told(self.path):
            low, high = self._db.execute(
                "SELECT min(first_ns), max(last_ns) FROM rows WHERE samples>0"
            ).fetchone()
        return None if low is None else (int(low), int(high))

    def spans(self, start_ns: int, end_ns: int) -> list[tuple[int, int]]:
        """The stretches [from, to) of source time in a window that rows hold samples of; they may overlap."""
        with told(self.path):
            found = self._db.execute(
                "SELECT first_ns, last_ns, seq FROM rows WHERE last_ns>=? AND first_ns<?", (start_ns, end_ns)
            ).fetchall()
        spans: list[tuple[int, int]] = []
        for low, high, seq in found:
            # A late sample beside a live one: what lies between the two is none of the row's.
            wide = high - low > _FOLD_SPAN_NS
            spans += self._stretches(seq, start_ns, end_ns) if wide else [(low, high + 1)]
        return [(max(low, start_ns), min(high, end_ns)) for low, high in spans]

    def _stretches(self, seq: int, start_ns: int, end_ns: int) -> list[tuple[int, int]]:
        """The same of one row, by its samples; none when it was folded into another meanwhile."""
        found = []
        for row in self._rows("WHERE seq=?", (seq,)):
            inside = np.sort(row.time_ns[(row.time_ns >= start_ns) & (row.time_ns < end_ns)])
            if len(inside):
                ends = np.flatnonzero(np.diff(inside) > _FOLD_SPAN_NS)
                firsts = inside[np.append(0, ends + 1)].tolist()
                lasts = inside[np.append(ends, len(inside) - 1)].tolist()
                found += [(first, last + 1) for first, last in zip(firsts, lasts, strict=True)]
        return found

    def close(self) -> None:
        """Close the file; a writer leaves everything in the main file."""
        self._db.close()

    def _rows(self, clause: str, values: tuple[int, ...]) -> list[Row]:
        with told(self.path):
            found = self._db.execute(f"SELECT first_seq, seq, body FROM rows {clause}", values).fetchall()
        return [decode(body, first, seq, where=self._place(seq)) for first, seq, body in found]

    def _place(self, seq: int) -> str:
        return f"{self.path}, row {seq}"

    def _transaction(self) -> Transaction:
        return Transaction(self._db)


def _schema_of(db: sqlite3.Connection) -> tuple[str] | None:
    """The schema's number; None while the writer has only just made the file."""
    if db.execute("SELECT 1 FROM sqlite_master WHERE name='meta'").fetchone() is None:
        return None
    found: tuple[str] | None = db.execute("SELECT value FROM meta WHERE key='schema'").fetchone()
    return found


def _groups(rows: Sequence[tuple[int, int, int, int]]) -> Iterator[list[tuple[int, int, int, int]]]:
    """Neighbouring rows that may share one: numbers without a gap, few samples, close in source time."""
    group: list[tuple[int, int, int, int]] = []
    low, high, samples = 2**62, -(2**62), 0
    for row in rows:
        seq, first_ns, last_ns, count = row
        low, high, samples = min(low, first_ns), max(high, last_ns), samples + count
        # A row tells the numbers of its first and last frame only: none may be missing between them.
        parted = bool(group) and seq != group[-1][0] + 1
        if group and (parted or samples > _FOLD_SAMPLES or high - low > _FOLD_SPAN_NS):
            yield group
            group, low, high, samples = [], first_ns, last_ns, count
        group.append(row)
    yield group


def _span(frame: Frame) -> tuple[int, int]:
    if len(frame) == 0:
        # An empty frame holds no source time; these bounds keep it out of every window.
        return 2**62, -(2**62)
    return int(frame.time_ns.min()), int(frame.time_ns.max())


_NOT_YET = "{path}: there is no store here yet; start `meltledger run` on its line first"
