"""The Parquet files of segments, opened once and read by tag and time."""

from __future__ import annotations

import errno
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from historian.archive.audit import Audit
from historian.archive.columns import Columns, FrameTable
from historian.archive.manifest import FileEntry, Kind
from historian.archive.numbers import from_arrow, integers, valid
from historian.archive.stamps import bounds_of, columns_of, times_of
from historian.archive.tables import NOT_TAGS, QUALITY
from historian.errors import StoredDataDamaged
from historian.frame import Times
from historian.quality import GOOD

_OPEN: Final = 96
_TAGS_ALONE: Final = 8
_TIME_AT: Final = {Kind.WIDE: 0, Kind.LONG: 2, Kind.AUDIT: 2}


@dataclass(frozen=True, slots=True)
class OpenFile:
    """A segment's file with its footer in memory.

    Attributes:
        entry: what the manifest says of it.
        parquet: the open file.
        first_ns, last_ns: oldest and newest source time of each row group.
        paths: tag number → column name, for a wide file.
        places: tag number → place of its value among the columns; its quality comes after it.
        names: of its columns, in their order; the library makes its schema anew whenever it is asked.
        known_good: tag number → which row groups hold nothing but good samples, filled in when asked.
    """

    entry: FileEntry
    parquet: Any
    first_ns: Times
    last_ns: Times
    paths: dict[int, str]
    places: dict[int, int]
    names: tuple[str, ...]
    known_good: dict[int, NDArray[np.bool_]] = field(default_factory=dict)

    @classmethod
    def of(cls, root: Path, entry: FileEntry) -> OpenFile:
        """Open the file.

        Raises:
            FileNotFoundError: it is gone; a writer may have superseded it.
            StoredDataDamaged: it is no Parquet file any more.
        """
        path = root / entry.path
        try:
            parquet = pq.ParquetFile(path, pre_buffer=False)
        except FileNotFoundError as error:
            raise FileNotFoundError(errno.ENOENT, "missing", str(path)) from error
        except (pa.ArrowInvalid, pa.ArrowTypeError) as error:
            raise damaged(path, error) from error
        schema = parquet.schema_arrow
        places = _places_of(schema) if entry.kind is Kind.WIDE else {}
        paths = {number: schema.field(at).name for number, at in places.items()}
        first_ns, last_ns = _bounds(parquet, schema, entry.kind)
        return cls(entry, parquet, first_ns, last_ns, paths, places, tuple(schema.names))

    def groups_between(self, start_ns: int, end_ns: int) -> list[int]:
        """The row groups that may hold a source time in [start, end)."""
        found: list[int] = np.flatnonzero((self.first_ns < end_ns) & (self.last_ns >= start_ns)).tolist()
        return found

    def read(
        self,
        tags: Sequence[int],
        start_ns: int,
        end_ns: int,
        *,
        groups: Sequence[int] | None = None,
        numbered: bool = True,
    ) -> list[Columns]:
        """The samples of some tags with start ≤ source time < end, one part a tag and none for absent ones.

        Args:
            groups: only these row groups; all that meet the window when not given.
            numbered: whether arrival numbers are needed; else they may be zeros.

        Raises:
            StoredDataDamaged: a page cannot be decoded.
        """
        chosen = self.groups_between(start_ns, end_ns) if groups is None else groups
        try:
            if self.entry.kind is Kind.WIDE:
                return self._wide(tags, start_ns, end_ns, chosen, numbered=numbered)
            return self._long(tags, start_ns, end_ns, chosen, numbered=numbered)
        except (pa.ArrowInvalid, OSError) as error:
            raise damaged(Path(self.entry.path), error) from error

    def numbered(self, first_seq: int, last_seq: int) -> Columns:
        """The samples of every tag in the frames from one arrival number to another, both taken in."""
        at = self.names.index("seq")
        chunks = (self.parquet.metadata.row_group(g).column(at) for g in range(self.parquet.num_row_groups))
        met = [c.statistics.min <= last_seq and c.statistics.max >= first_seq for c in chunks]
        first_ns, end_ns = self.entry.first_ns, self.entry.last_ns + 1
        groups = np.flatnonzero(met).tolist()
        rows = Columns.joined(self.read(self.entry.tags, first_ns, end_ns, groups=groups))
        return rows.where((rows.seq >= first_seq) & (rows.seq <= last_seq))

    def newest(self, tags: Sequence[int]) -> list[Columns]:
        """Samples of each of the tags, the last of which is the newest that the file holds.

        Args:
            tags: numbers that the file has samples of.
        """
        first_ns, end_ns = self.entry.first_ns, self.entry.last_ns + 1
        if self.entry.kind is not Kind.WIDE:
            return self.read(tags, first_ns, end_ns)
        found: dict[int, Columns] = {}
        for group in range(len(self.first_ns) - 1, -1, -1):
            left = [t for t in tags if t not in found]
            if not left:
                break
            found |= {int(p.tag[0]): p for p in self.read(left, first_ns, end_ns, groups=[group])}
        return list(found.values())

    def _wide(
        self, tags: Sequence[int], start_ns: int, end_ns: int, groups: Sequence[int], *, numbered: bool
    ) -> list[Columns]:
        names = {n: self.paths[n] for n in tags if n in self.paths}
        if not names or not groups:
            return []
        plain = {n for n in names if self._all_good(n)[list(groups)].all()}
        head = [*columns_of(self.names, "time"), *(["seq"] if numbered else [])]
        graded = [p + QUALITY for n, p in names.items() if n not in plain]
        # For a tag or two, handing the work to threads takes longer than the work.
        several = len(names) > _TAGS_ALONE
        table = self.parquet.read_row_groups(
            list(groups), columns=[*head, *names.values(), *graded], use_threads=several
        )
        time_ns = times_of(table, "time")
        a, b = np.searchsorted(time_ns, [start_ns, end_ns], side="left").tolist()
        time_ns = time_ns[a:b]
        seq = integers(table["seq"], np.int64)[a:b] if numbered else np.broadcast_to(np.int64(0), b - a)
        good = np.broadcast_to(np.uint32(GOOD), b - a)
        parts = []
        for number, path in names.items():
            # One number stands for all rows; no memory is filled with it.
            tag = np.broadcast_to(np.int32(number), b - a)
            value = from_arrow(table[path].slice(a, b - a))
            if number in plain:
                part = Columns(tag, time_ns, seq, value, good)
            else:
                quality = table[path + QUALITY].slice(a, b - a)
                part = Columns(tag, time_ns, seq, value, integers(quality, np.uint32))
                part = part.where(valid(quality)) if quality.null_count else part
            if len(part):
                parts.append(part)
        return parts

    def _all_good(self, number: int) -> NDArray[np.bool_]:
        """In which row groups every row is a good sample of the tag: its quality need not be read there."""
        if number not in self.known_good:
            at = self.places[number]
            chunks = (self.parquet.metadata.row_group(g) for g in range(self.parquet.num_row_groups))
            found = [(g.column(at).statistics, g.column(at + 1).statistics) for g in chunks]
            self.known_good[number] = np.array([_is_all_good(v, q) for v, q in found], dtype=np.bool_)
        return self.known_good[number]

    def _long(
        self, tags: Sequence[int], start_ns: int, end_ns: int, groups: Sequence[int], *, numbered: bool
    ) -> list[Columns]:
        wanted = np.array(sorted(set(tags) & set(self.entry.tags)), dtype=np.int32)
        chosen = [g for g in groups if self._holds(g, wanted)]
        if len(wanted) == 0 or not chosen:
            return []
        names = [*columns_of(self.names, "time"), "value", "quality"]
        names += (["tag_id"] if len(self.entry.tags) > 1 else []) + (["seq"] if numbered else [])
        table = self.parquet.read_row_groups(chosen, columns=names, use_threads=False)
        rows = _rows_of(table, self.entry.tags[0])
        low, high = (np.searchsorted(rows.tag, wanted, side=s).tolist() for s in ("left", "right"))
        parts = [rows.where(slice(a, b)) for a, b in zip(low, high, strict=True) if b > a]
        edges = [np.searchsorted(p.time_ns, [start_ns, end_ns], side="left").tolist() for p in parts]
        return [p.where(slice(a, b)) for p, (a, b) in zip(parts, edges, strict=True) if b > a]

    def _holds(self, group: int, wanted: NDArray[np.int32]) -> bool:
        found = self.parquet.metadata.row_group(group).column(1).statistics
        return bool(((wanted >= found.min) & (wanted <= found.max)).any())

    def frames(self) -> FrameTable:
        """The table of a frames file."""
        table = self.parquet.read()
        arrival_ns = times_of(table, "arrival")
        return FrameTable(integers(table["seq"], np.int64), arrival_ns, integers(table["epoch"], np.int32))

    def audit(self) -> tuple[Audit, FrameTable]:
        """What an audit file holds, and the frames that it had come in."""
        table = self.parquet.read()
        rows = _rows_of(table, 0)
        arrival_ns, epoch = times_of(table, "arrival"), integers(table["epoch"], np.int32)
        seq, first = np.unique(rows.seq, return_index=True)
        return Audit(rows, integers(table["replaced_by"], np.int64)), FrameTable(
            seq, arrival_ns[first], epoch[first]
        )


class Files:
    """Open files by path; the ones used longest ago are let go of. A path never changes its content."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._open: OrderedDict[str, OpenFile] = OrderedDict()

    def of(self, entry: FileEntry) -> OpenFile:
        """The file, opened when it is not yet."""
        found = self._open.pop(entry.path, None) or OpenFile.of(self._root, entry)
        self._open[entry.path] = found
        while len(self._open) > _OPEN:
            self._open.popitem(last=False)
        return found

    def clear(self) -> None:
        """Let go of all of them."""
        self._open.clear()


def _rows_of(table: Any, only: int) -> Columns:
    """The samples of a table in long form, of which columns may be missing.

    Args:
        only: the tag's number where there is no column of numbers.
    """
    n, names = len(table), table.schema.names
    return Columns(
        integers(table["tag_id"], np.int32) if "tag_id" in names else np.broadcast_to(np.int32(only), n),
        times_of(table, "time"),
        integers(table["seq"], np.int64) if "seq" in names else np.broadcast_to(np.int64(0), n),
        from_arrow(table["value"]),
        integers(table["quality"], np.uint32),
    )


def damaged(path: Path, error: Exception) -> StoredDataDamaged:
    """What to say of a file that does not read."""
    return StoredDataDamaged(
        f"{path}: not readable as Parquet ({str(error)[:120]}); the other segments are. "
        "Copy the folder away, then run `meltledger doctor`"
    )


def _is_all_good(value: Any, quality: Any) -> bool:
    """Whether the statistics of a row group say so; None says nothing."""
    if value is None or quality is None or not quality.has_min_max:
        return False
    is_whole = value.has_null_count and quality.has_null_count and value.null_count + quality.null_count == 0
    return bool(is_whole and quality.min == quality.max == GOOD)


def _places_of(schema: Any) -> dict[int, int]:
    """Tag number → place of its value column in a wide file."""
    return {
        int(field.metadata[b"PARQUET:field_id"]): at
        for at, field in enumerate(schema)
        if field.name not in NOT_TAGS and not field.name.endswith(QUALITY)
    }


def _bounds(parquet: Any, schema: Any, kind: Kind) -> tuple[Times, Times]:
    """Oldest and newest source time of each row group; none for a frames file."""
    if kind is Kind.FRAMES:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    at = _TIME_AT[kind]
    unit = schema.field(at).type.unit
    chunks = (parquet.metadata.row_group(g).column(at) for g in range(parquet.num_row_groups))
    found = [bounds_of(chunk.statistics, unit) for chunk in chunks]
    return np.array([a for a, _ in found], dtype=np.int64), np.array([b for _, b in found], dtype=np.int64)
