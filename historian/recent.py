"""The newest samples on disk: whole frames as columnar blobs in SQLite, readable at once by other processes.

A row holds one frame, or the frames of a closed minute folded into one row: ``first_seq`` to ``seq`` are the
arrival numbers inside. A row's body is a head for each frame, then the columns of all of them one after the
other, so that many rows decode without a loop over samples. The order of arrival is kept whole, because a
replay judges in that order.
"""

from __future__ import annotations

import sqlite3
import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from historian.errors import StoredDataDamaged, StoreFull, StoreReadOnly, WrongInput
from historian.frame import NS, Frame, Qualities, TagIds, Times, Values

SCHEMA = 1
_MAGIC = b"mlf1"
_HEAD = struct.Struct("<4sIII")  # magic, crc32 of the rest, frames, samples
_FRAME = np.dtype([("arrival_ns", "<i8"), ("clock_epoch", "<i4"), ("samples", "<i4")])
_COLUMNS = (("tag", "<i4"), ("time_ns", "<i8"), ("value", "<f8"), ("quality", "<u4"))
_FOLD_SAMPLES = 100_000
_FOLD_SPAN_NS = 300 * NS
_SAMPLE_BYTES = 24

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


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the table, decoded: the columns of all its frames, one frame after the other.

    Attributes:
        first_seq, seq: arrival numbers of the first and the last frame.
        heads: arrival, clock epoch and number of samples of each frame.
    """

    first_seq: int
    seq: int
    heads: NDArray[np.void]
    tag: TagIds
    time_ns: Times
    value: Values
    quality: Qualities

    def frames(self) -> Iterator[tuple[int, Frame]]:
        """Each frame with its arrival number."""
        edges = np.concatenate(([0], np.cumsum(self.heads["samples"]))).tolist()
        for place, (head, (a, b)) in enumerate(zip(self.heads, pairwise(edges), strict=True)):
            columns = (self.tag[a:b], self.time_ns[a:b], self.value[a:b], self.quality[a:b])
            yield self.first_seq + place, Frame(*columns, int(head["arrival_ns"]), int(head["clock_epoch"]))

    def clock_epoch(self) -> NDArray[np.int32]:
        """The clock epoch of each sample."""
        return np.repeat(self.heads["clock_epoch"], self.heads["samples"])


def encode(frames: Sequence[Frame]) -> bytes:
    """The body of a row that holds these frames."""
    heads = np.empty(len(frames), dtype=_FRAME)
    heads["arrival_ns"] = [f.arrival_ns for f in frames]
    heads["clock_epoch"] = [f.clock_epoch for f in frames]
    heads["samples"] = [len(f) for f in frames]
    rest = heads.tobytes() + b"".join(
        np.concatenate([getattr(f, name) for f in frames]).astype(dtype, copy=False).tobytes()
        for name, dtype in _COLUMNS
    )
    return _HEAD.pack(_MAGIC, zlib.crc32(rest), len(frames), int(heads["samples"].sum())) + rest


def decode(body: bytes, first_seq: int, seq: int, *, where: str) -> Row:
    """The row of a body.

    Raises:
        StoredDataDamaged: the body is not what ``encode`` wrote; ``where`` names the place.
    """
    try:
        magic, crc, frames, samples = _HEAD.unpack_from(body)
    except struct.error:
        magic, crc, frames, samples = b"", 0, 0, 0
    expected = _HEAD.size + frames * _FRAME.itemsize + samples * _SAMPLE_BYTES
    if magic != _MAGIC or len(body) != expected or zlib.crc32(memoryview(body)[_HEAD.size :]) != crc:
        raise StoredDataDamaged(
            f"{where}: the row's check sum does not match; the other rows are readable. "
            "Copy the store's folder away before anything else is tried"
        )
    at = _HEAD.size + frames * _FRAME.itemsize
    return Row(
        first_seq,
        seq,
        np.frombuffer(body, _FRAME, frames, _HEAD.size),
        np.frombuffer(body, np.int32, samples, at),
        np.frombuffer(body, np.int64, samples, at + 4 * samples),
        np.frombuffer(body, np.float64, samples, at + 12 * samples),
        np.frombuffer(body, np.uint32, samples, at + 20 * samples),
    )


class Recent:
    """The table of rows in one SQLite file (WAL, every commit synced to disk).

    One writer, any number of readers in other processes; not for network file systems.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._db = connection
        self._folded_seq = 0

    @classmethod
    def open(cls, path: Path, *, write: bool) -> Recent:
        """Open the file; a writer makes it where it is missing.

        Raises:
            WrongInput: a reader finds no file; or it was written by a newer release.
            StoreReadOnly, StoreFull: a writer cannot write here.
            StoredDataDamaged: the file is not a database.
        """
        if not write and not path.exists():
            raise WrongInput(_NOT_YET.format(path=path))
        with told(path):
            if write:
                path.parent.mkdir(parents=True, exist_ok=True)
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
                db.execute("BEGIN IMMEDIATE")
                for statement in _TABLES.split(";"):
                    db.execute(statement)
                db.execute("INSERT OR IGNORE INTO meta VALUES ('schema', ?)", (str(SCHEMA),))
                db.execute("COMMIT")
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
        return cls(path, db)

    def tag_rows(self) -> list[tuple[int, str]]:
        """Number and JSON body of each tag."""
        with told(self.path):
            return self._db.execute("SELECT id, body FROM tags ORDER BY id").fetchall()

    def put_tags(self, rows: Sequence[tuple[int, str, str]]) -> None:
        """Keep (number, path, JSON body), new or changed."""
        with told(self.path), self._transaction():
            self._db.executemany(
                "INSERT INTO tags VALUES (?,?,?) ON CONFLICT (id) DO UPDATE SET body=excluded.body", rows
            )

    def append(self, frames: Sequence[Frame]) -> int:
        """Keep the frames in one synced transaction; gives the last arrival number."""
        with told(self.path), self._transaction():
            seq = self.last_seq()
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
        """Arrival number of the last frame; 0 when there is none."""
        with told(self.path):
            return int(self._db.execute("SELECT coalesce(max(seq), 0) FROM rows").fetchone()[0])

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

    def close(self) -> None:
        """Close the file; a writer leaves everything in the main file."""
        self._db.close()

    def _rows(self, clause: str, values: tuple[int, ...]) -> list[Row]:
        with told(self.path):
            found = self._db.execute(f"SELECT first_seq, seq, body FROM rows {clause}", values).fetchall()
        return [decode(body, first, seq, where=self._place(seq)) for first, seq, body in found]

    def _place(self, seq: int) -> str:
        return f"{self.path}, row {seq}"

    def _transaction(self) -> _Transaction:
        return _Transaction(self._db)


def _schema_of(db: sqlite3.Connection) -> tuple[str] | None:
    """The schema's number; None while the writer has only just made the file."""
    if db.execute("SELECT 1 FROM sqlite_master WHERE name='meta'").fetchone() is None:
        return None
    found: tuple[str] | None = db.execute("SELECT value FROM meta WHERE key='schema'").fetchone()
    return found


def _groups(rows: Sequence[tuple[int, int, int, int]]) -> Iterator[list[tuple[int, int, int, int]]]:
    """Neighbouring rows that may share one: few samples, close in source time."""
    group: list[tuple[int, int, int, int]] = []
    low, high, samples = 2**62, -(2**62), 0
    for row in rows:
        _, first_ns, last_ns, count = row
        low, high, samples = min(low, first_ns), max(high, last_ns), samples + count
        if group and (samples > _FOLD_SAMPLES or high - low > _FOLD_SPAN_NS):
            yield group
            group, low, high, samples = [], first_ns, last_ns, count
        group.append(row)
    yield group


class _Transaction:
    """All or nothing, also when the disk fills up in the middle."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def __enter__(self) -> None:
        self._db.execute("BEGIN IMMEDIATE")

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        if kind is None:
            try:
                self._db.execute("COMMIT")
                return
            except sqlite3.Error:
                self._roll_back()
                raise
        self._roll_back()

    def _roll_back(self) -> None:
        if self._db.in_transaction:
            self._db.execute("ROLLBACK")


def _span(frame: Frame) -> tuple[int, int]:
    if len(frame) == 0:
        # An empty frame holds no source time; these bounds keep it out of every window.
        return 2**62, -(2**62)
    return int(frame.time_ns.min()), int(frame.time_ns.max())


class told:  # noqa: N801 - reads as a clause: with told(path)
    """Turns SQLite's errors into ours, naming the file and the remedy."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, PermissionError):
            raise StoreReadOnly(_READ_ONLY.format(path=self._path)) from error
        if isinstance(error, OSError) and error.errno == 28:
            raise StoreFull(_FULL.format(path=self._path)) from error
        if isinstance(error, OSError):
            raise StoreReadOnly(
                f"{self._path}: {error.strerror}; check the path in the line's file"
            ) from error
        if not isinstance(error, sqlite3.Error):
            return
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code == sqlite3.SQLITE_FULL:
            raise StoreFull(_FULL.format(path=self._path)) from error
        if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
            raise StoreReadOnly(_READ_ONLY.format(path=self._path)) from error
        if code == sqlite3.SQLITE_IOERR:
            raise StoreFull(
                f"{self._path}: the disk does not take the data ({error}); check it and its space"
            ) from error
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            raise StoredDataDamaged(
                f"{self._path}: not readable as a store ({error}); copy the folder away first"
            ) from error
        raise StoreReadOnly(f"{self._path}: {error}; is another writer running on this line?") from error


_NOT_YET = "{path}: there is no store here yet; start `meltledger run` on its line first"
_FULL = (
    "{path}: the disk is full; nothing of this flush was kept, all before it is readable. Free space there"
)
_READ_ONLY = "{path}: cannot be written; let this user write there, or change the path in the line's file"
