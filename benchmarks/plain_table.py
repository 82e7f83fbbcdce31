"""The plain way to keep samples: one row a sample in SQLite, keyed by tag and time."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import numpy as np

from historian.frame import NS, Frame, Series

_TABLE = """
CREATE TABLE IF NOT EXISTS sample (
    tag INTEGER, time_ns INTEGER, value REAL, quality INTEGER, PRIMARY KEY (tag, time_ns)
) WITHOUT ROWID
"""


class PlainTable:
    """The table, with each question put the way that suits it best."""

    def __init__(self, path: Path) -> None:
        self._db = sqlite3.connect(path, isolation_level=None)
        self._db.execute("PRAGMA journal_mode=WAL")
        self._db.execute("PRAGMA synchronous=FULL")
        self._db.execute(_TABLE)

    def insert(self, frame: Frame) -> None:
        """Keep a frame in one synced transaction."""
        columns = (frame.tag, frame.time_ns, frame.value, frame.quality)
        self._db.execute("BEGIN IMMEDIATE")
        self._db.executemany(
            "INSERT INTO sample VALUES (?,?,?,?)", zip(*(c.tolist() for c in columns), strict=True)
        )
        self._db.execute("COMMIT")

    def count(self) -> int:
        """How many samples there are."""
        return int(self._db.execute("SELECT count(*) FROM sample").fetchone()[0])

    def minimum_and_maximum(
        self, tag: int, start_ns: int, end_ns: int, buckets: int
    ) -> list[tuple[float, float]]:
        """Smallest and largest value of each bucket of a window."""
        width = (end_ns - start_ns) // buckets
        return self._db.execute(
            "SELECT min(value), max(value) FROM sample WHERE tag=? AND time_ns>=? AND time_ns<? "
            "AND quality < 0x80000000 GROUP BY (time_ns-?)/?",
            (tag, start_ns, end_ns, start_ns, width),
        ).fetchall()

    def raw(self, tags: list[int], start_ns: int, end_ns: int) -> dict[int, Series]:
        """The samples of some tags in a window, as arrays."""
        found = {}
        for tag in tags:
            rows = self._db.execute(
                "SELECT time_ns, value, quality FROM sample WHERE tag=? AND time_ns>=? AND time_ns<?",
                (tag, start_ns, end_ns),
            ).fetchall()
            columns = list(zip(*rows, strict=True)) or [(), (), ()]
            value = np.array([np.nan if v is None else v for v in columns[1]], dtype=np.float64)
            found[tag] = Series.of(columns[0], value, np.array(columns[2], dtype=np.uint32))
        return found

    def newest(self, tags: list[int]) -> dict[int, tuple[int, float]]:
        """The last sample of each tag."""
        return {
            tag: self._db.execute(
                "SELECT time_ns, value FROM sample WHERE tag=? ORDER BY time_ns DESC LIMIT 1", (tag,)
            ).fetchone()
            for tag in tags
        }

    def minutes(self, start_ns: int, end_ns: int) -> list[tuple[int, int, float, float, float]]:
        """Tag, minute, mean, smallest and largest value of every tag and minute."""
        return self._db.execute(
            "SELECT tag, time_ns/?, avg(value), min(value), max(value) FROM sample "
            "WHERE time_ns>=? AND time_ns<? AND quality < 0x80000000 GROUP BY 1, 2",
            (60 * NS, start_ns, end_ns),
        ).fetchall()

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()
