"""The plain way to keep samples: one row a sample in SQLite, keyed by tag and time."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from historian.frame import NS, Frame, Series

_TABLE = """
CREATE TABLE IF NOT EXISTS sample (
    tag INTEGER, time_ns INTEGER, value REAL, quality INTEGER, PRIMARY KEY (tag, time_ns)
) WITHOUT ROWID
"""

_NEWEST = """
WITH RECURSIVE known(tag) AS (
    SELECT min(tag) FROM sample
    UNION ALL SELECT (SELECT min(tag) FROM sample WHERE tag > known.tag) FROM known WHERE tag IS NOT NULL
)
SELECT s.tag, s.time_ns, s.value, s.quality FROM known JOIN sample AS s ON s.tag = known.tag
AND s.time_ns = (SELECT max(time_ns) FROM sample WHERE tag = known.tag)
"""


class PlainTable:
    """The table, with each question put the way that suits it best."""

    def __init__(self, path: Path) -> None:
        self._db = sqlite3.connect(path, isolation_level=None)
        self._db.execute("PRAGMA journal_mode=WAL")
        self._db.execute("PRAGMA synchronous=FULL")
        self._db.execute(_TABLE)

    def insert(self, *frames: Frame) -> None:
        """Keep the frames, each in a synced transaction of its own."""
        for frame in frames:
            columns = (frame.tag, frame.time_ns, frame.value, frame.quality)
            self._db.execute("BEGIN IMMEDIATE")
            self._db.executemany(
                "INSERT INTO sample VALUES (?,?,?,?)", zip(*(c.tolist() for c in columns), strict=True)
            )
            self._db.execute("COMMIT")

    def count(self, start_ns: int = -(2**63), end_ns: int = 2**63 - 1) -> int:
        """How many samples there are in a window; everywhere when none is given."""
        asked = "SELECT count(*) FROM sample WHERE time_ns>=? AND time_ns<?"
        return int(self._db.execute(asked, (start_ns, end_ns)).fetchone()[0])

    def minimum_and_maximum(
        self, tag: int, start_ns: int, end_ns: int, buckets: int
    ) -> list[tuple[int, float, float]]:
        """Number, smallest and largest value of each bucket of a window; none where all is bad."""
        width = (end_ns - start_ns) // buckets
        return self._db.execute(
            "SELECT (time_ns-?)/?, min(value), max(value) FROM sample WHERE tag=? AND time_ns>=? "
            "AND time_ns<? AND quality < 0x80000000 GROUP BY 1",
            (start_ns, width, tag, start_ns, end_ns),
        ).fetchall()

    def raw(self, tags: list[int], start_ns: int, end_ns: int) -> dict[int, Series]:
        """The samples of some tags in a window, as arrays."""
        found = {}
        for tag in tags:
            rows = self._db.execute(
                "SELECT time_ns, value, quality FROM sample WHERE tag=? AND time_ns>=? AND time_ns<?",
                (tag, start_ns, end_ns),
            ).fetchall()
            time_ns, value, quality = zip(*rows, strict=True) if rows else ((), (), ())
            found[tag] = Series.of(time_ns, value, quality)
        return found

    def newest(self) -> list[tuple[int, int, float | None, int]]:
        """Tag, time, value and quality of the last sample of every tag: from key to key."""
        return self._db.execute(_NEWEST).fetchall()

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
