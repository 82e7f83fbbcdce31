"""Rollups in Parquet files, read by tag and time."""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from historian.archive.manifest import NAME
from historian.archive.numbers import from_arrow, integers
from historian.archive.stamps import REST, columns_of, times_of, to_rests, to_stamps, unit_of
from historian.errors import StoredDataDamaged
from historian.rollups.columns import COLUMNS, DTYPES, MINUTE_NS, Rollup, joined
from historian.rollups.listed import RollupFile, RollupList

NOTE_KEY: Final = b"meltledger.rollup"
_TIMES: Final = tuple(name for name in COLUMNS if name.endswith("_ns"))
_VALUES: Final = ("total", "first", "minimum", "maximum", "last")
_REPEATING: Final = _VALUES[1:]
_MINUTE_ROWS: Final = 8 * 1440
_HOUR_ROWS: Final = 4 * 744
_LEVEL: Final = 6
_TRIES: Final = 3
_OPEN: Final = 96  # a file a day and more would be open after a year


def encode(rollup: Rollup, paths: Mapping[int, str], note: Mapping[str, Any]) -> bytes:
    """A Parquet file that holds the rows, with a note in its metadata.

    Few tags a row group, so that one tag is read without the others.

    Args:
        paths: tag number → path, for every tag in the rows.
    """
    arrays = {name: _array(name, getattr(rollup, name)) for name in COLUMNS}
    arrays["path"] = pa.array([paths[n] for n in rollup.tag.tolist()], pa.string())
    for name in _TIMES:
        time_ns = getattr(rollup, name)
        for rest in to_rests(unit_of(time_ns), time_ns):
            arrays[name + REST] = rest
    table = pa.table(arrays, metadata={NOTE_KEY: json.dumps(note, sort_keys=True).encode()})
    out = pa.BufferOutputStream()
    with pq.ParquetWriter(
        out,
        table.schema,
        compression="zstd",
        compression_level=_LEVEL,
        use_dictionary=["path", *_REPEATING],
        column_encoding={"total": "BYTE_STREAM_SPLIT"}
        | {n: "DELTA_BINARY_PACKED" for n in COLUMNS if n not in _VALUES},
    ) as writer:
        rows = _MINUTE_ROWS if note.get("interval_ns") == MINUTE_NS else _HOUR_ROWS
        for start, end in _group_edges(rollup, rows):
            writer.write_table(table.slice(start, end - start), row_group_size=max(1, end - start))
    data: bytes = out.getvalue().to_pybytes()
    return data


def _array(name: str, column: Any) -> Any:
    if name in _TIMES:
        return to_stamps(column, unit_of(column))
    # No value is null, so that an outside engine's mean passes it over.
    return pa.array(column, mask=np.isnan(column) if name in _VALUES else None)


def _group_edges(rollup: Rollup, rows: int) -> list[tuple[int, int]]:
    """Row groups of about so many rows that end where a tag ends."""
    ends = np.append(np.flatnonzero(np.diff(rollup.tag)) + 1, len(rollup)).tolist()
    edges, low = [], 0
    for before, end in zip([0, *ends], ends, strict=False):
        if end - low > rows and before > low:
            edges.append((low, before))
            low = before
    return [*edges, (low, len(rollup))]


class RollupReader:
    """Reads a line's rollups; keeps files open, whose content never changes, those used last."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._open: OrderedDict[str, Any] = OrderedDict()
        self._stamp: tuple[int, int, int] | None = None
        self.listed = RollupList()
        self.refresh()

    def refresh(self) -> None:
        """Take in what a writer has changed since."""
        try:
            found = (self._root / NAME).stat()
        except FileNotFoundError:
            return
        stamp = (found.st_mtime_ns, found.st_ino, found.st_size)
        if stamp == self._stamp:
            return
        self._stamp = stamp
        self.listed = load_rollups(self._root) or RollupList()
        named = {f.path for f in self.listed.files}
        self._open = OrderedDict((path, file) for path, file in self._open.items() if path in named)

    def let_go(self) -> None:
        """Close the files; they are opened again when they are read."""
        self._open.clear()

    def read(
        self,
        interval_ns: int,
        start_ns: int,
        end_ns: int,
        *,
        tag: int | None = None,
        columns: Sequence[str] = COLUMNS,
    ) -> Rollup:
        """The rows with start ≤ ``start_ns`` < end of one tag, or of all.

        Args:
            columns: those that are needed besides ``tag`` and ``start_ns``; the others come back as zeros.

        Raises:
            StoredDataDamaged: a file cannot be read.
        """
        names = {"tag", "start_ns", *columns}
        for _ in range(_TRIES):
            try:
                return self._read(interval_ns, start_ns, end_ns, tag, names)
            except FileNotFoundError:
                # A writer has superseded it: what stands in its place is listed by now.
                self.refresh()
        raise StoredDataDamaged(f"{self._root}: a listed file of rollups is not there. {_REMEDY}")

    def _read(self, interval_ns: int, start_ns: int, end_ns: int, tag: int | None, names: set[str]) -> Rollup:
        parts = []
        for file in self.listed.between(interval_ns, start_ns, end_ns):
            part = self._part(file, tag, names)
            is_inside = start_ns <= file.start_ns and file.end_ns <= end_ns
            parts.append(part if is_inside else part.between(start_ns, end_ns))
        return joined(parts)

    def _part(self, entry: RollupFile, tag: int | None, names: set[str]) -> Rollup:
        path = self._root / entry.path
        try:
            file = self._open.pop(entry.path, None)
            file = file or pq.ParquetFile(path, memory_map=True, pre_buffer=False)
            self._open[entry.path] = file
            while len(self._open) > _OPEN:
                self._open.popitem(last=False)
            groups = [g for g in range(file.num_row_groups) if tag is None or _may_hold(file, g, tag)]
            if not groups:
                return Rollup.empty()
            part = decode(
                file.read_row_groups(
                    groups, columns=columns_of(file.schema_arrow.names, *names), use_threads=False
                )
            )
        except FileNotFoundError:
            raise
        except (pa.ArrowException, OSError) as error:
            raise StoredDataDamaged(f"{path}: not readable as rollups ({error}). {_REMEDY}") from error
        return part if tag is None else part.of_tag(tag)


def decode(table: Any) -> Rollup:
    """The rows of a table that ``encode`` wrote; columns that it lacks are zeros."""
    return Rollup(*(_column(table, name) for name in COLUMNS))


def _column(table: Any, name: str) -> Any:
    if name not in table.schema.names:
        return np.broadcast_to(DTYPES[name](0), len(table))
    if name in _TIMES:
        return times_of(table, name)
    return from_arrow(table[name]) if name in _VALUES else integers(table[name], DTYPES[name])


def _may_hold(file: Any, group: int, tag: int) -> bool:
    found = file.metadata.row_group(group).column(0).statistics
    return bool(found is None or found.min <= tag <= found.max)


def load_rollups(root: Path) -> RollupList | None:
    """The list of a folder of rollups; None where there is none.

    Raises:
        WrongInput, StoredDataDamaged: see ``RollupList.from_bytes``.
    """
    try:
        data = (root / NAME).read_bytes()
    except FileNotFoundError:
        return None
    return RollupList.from_bytes(data, where=str(root / NAME))


_REMEDY: Final = "Copy the folder away, then run `meltledger doctor`"
