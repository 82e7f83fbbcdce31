"""DuckDB over the Parquet files that our store sealed, asked as docs/archive-format.md says.

In a figure this stands beside ours; it has no bar. DuckDB is no dependency of the historian.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, Self

from benchmarks.reference_set import tags
from historian.archive.manifest import FileEntry, Kind
from historian.archive.writer import load_manifest
from historian.rollups.columns import MINUTE_NS

DUCKDB: Final = "DuckDB over our Parquet"
_NOT_BAD: Final = "< 2147483648"
_US: Final = 1_000


def duckdb_of(store: Path) -> DuckBeside | None:
    """Its view of a store's archive, on one thread; None where it is not installed, which is said."""
    if importlib.util.find_spec("duckdb") is None:
        print("no duckdb here: its figures are left out (pip install duckdb)", file=sys.stderr)
        return None
    return DuckBeside(store / "archive")


class DuckBeside:
    """Questions to the wide files; the reference set has no others."""

    def __init__(self, archive: Path) -> None:
        import duckdb

        self._db: Any = duckdb.connect(config={"threads": 1})
        self._archive = archive
        self._paths = {t.id: t.path for t in tags()}
        manifest = load_manifest(archive)
        if manifest is None or any(s.of_kind(Kind.LONG) for s in manifest.segments):
            raise RuntimeError(f"{archive}: not an archive of wide files alone")
        self._manifest = manifest

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._db.close()

    def minimum_and_maximum(
        self, path: str, start_ns: int, end_ns: int, buckets: int
    ) -> list[tuple[int, float, float]]:
        """Number, smallest and largest value of each bucket of a window; none where all is bad."""
        width = (end_ns - start_ns) // buckets // _US
        found: list[tuple[int, float, float]] = []
        for file, numbers in self._files(start_ns, end_ns):
            if path in (self._paths[n] for n in numbers):
                found += self._db.execute(
                    f'SELECT (epoch_us(time) - {start_ns // _US}) // {width}, min("{path}")::DOUBLE, '
                    f'max("{path}")::DOUBLE FROM {file} WHERE {_inside(start_ns, end_ns)} '
                    f'AND "{path}#quality" {_NOT_BAD} GROUP BY 1'
                ).fetchall()
        return found

    def raw(self, paths: list[str], start_ns: int, end_ns: int) -> list[dict[str, Any]]:
        """Columns of the scans in a window: time, each tag's value and its quality, as masked arrays."""
        found = []
        for file, numbers in self._files(start_ns, end_ns):
            wanted = [self._paths[n] for n in numbers if self._paths[n] in paths]
            if wanted:
                columns = ", ".join(f'"{p}"::DOUBLE AS "{p}", "{p}#quality"' for p in wanted)
                asked = f"SELECT time, {columns} FROM {file} WHERE {_inside(start_ns, end_ns)}"
                found.append(self._db.execute(asked).fetchnumpy())
        return found

    def minutes(self, start_ns: int, end_ns: int) -> list[dict[str, Any]]:
        """Columns of minutes: each tag's mean, smallest and largest value, as masked arrays.

        What is bad is taken out first, and minutes are counted: a FILTER at each aggregate or a minute by the
        calendar takes ten times as long.
        """
        found = []
        for file, numbers in self._files(start_ns, end_ns):
            usable = ", ".join(
                f'CASE WHEN "{path}#quality" {_NOT_BAD} THEN "{path}"::DOUBLE END AS "{n}"'
                for n, path in ((n, self._paths[n]) for n in numbers)
            )
            columns = ", ".join(
                f'{ask}("{n}") AS "{name}.{n}"'
                for n in numbers
                for name, ask in (("mean", "avg"), ("minimum", "min"), ("maximum", "max"))
            )
            asked = f"SELECT epoch_us(time) // {MINUTE_NS // _US} AS minute, {columns} FROM "
            asked += f"(SELECT time, {usable} FROM {file} WHERE {_inside(start_ns, end_ns)}) GROUP BY 1"
            found.append(self._db.execute(asked).fetchnumpy())
        return found

    def _files(self, start_ns: int, end_ns: int) -> Iterator[tuple[str, tuple[int, ...]]]:
        for segment in self._manifest.between(start_ns, end_ns):
            for entry in segment.of_kind(Kind.WIDE):
                yield self._table(entry), entry.tags

    def _table(self, entry: FileEntry) -> str:
        return f"read_parquet('{self._archive / entry.path}', hive_partitioning = false)"


def _inside(start_ns: int, end_ns: int) -> str:
    return f"time >= make_timestamptz({start_ns // _US}) AND time < make_timestamptz({end_ns // _US})"
