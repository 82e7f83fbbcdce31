"""Which row groups a picture needs: those whose statistics do not rule them out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from historian.archive.files import OpenFile
from historian.archive.manifest import Kind
from historian.envelope import Envelope, column_edges, envelope_of
from historian.frame import Series, Times
from historian.quality import BAD


@dataclass(frozen=True, slots=True)
class Piece:
    """One row group of a tag.

    Attributes:
        file: place of its file among those asked.
        group: number of the row group in it.
        low, high: smallest and largest value.
        samples: of the tag.
    """

    file: int
    group: int
    low: float
    high: float
    samples: int


def outline(files: Sequence[OpenFile], number: int, start_ns: int, end_ns: int, columns: int) -> Envelope:
    """First, minimum, maximum and last sample of each pixel column, gaps kept.

    Row groups that lie in one pixel column and cannot hold any of the four are passed over unread.

    Args:
        files: those that hold the tag, in order of time, not overlapping.
        columns: pixel columns; nothing is passed over when every sample would be shown.
    """
    chosen = [file.groups_between(start_ns, end_ns) for file in files]
    edges = column_edges(start_ns, end_ns, columns)
    inside: dict[int, list[Piece]] = defaultdict(list)
    if sum(f.entry.samples // max(1, len(f.entry.tags)) for f in files) > 4 * columns:
        for place, file in enumerate(files):
            for group in chosen[place]:
                column = _column_of(file, group, edges)
                piece = None if column is None else piece_of(file, place, group, number)
                if column is not None and piece is not None:
                    inside[column].append(piece)
    passed = {(p.file, p.group): p.samples for pieces in inside.values() for p in _needless(pieces)}
    thin: list[Envelope] = []
    for place, file in enumerate(files):
        groups = [g for g in chosen[place] if (place, g) not in passed]
        for part in file.read([number], start_ns, end_ns, groups=groups, numbered=False):
            thin.append(envelope_of(part.series(), start_ns, end_ns, columns))
    # The outline of outlines is that of the whole, and a season of samples need not stand in memory.
    found = thin[0] if len(thin) == 1 else envelope_of(_joined(thin), start_ns, end_ns, columns)
    return replace(found, samples=sum(e.samples for e in thin) + sum(passed.values()))


def _joined(parts: Sequence[Envelope]) -> Series:
    if not parts:
        return Series.empty()
    return Series(
        np.concatenate([p.time_ns for p in parts]),
        np.concatenate([p.value for p in parts]),
        np.concatenate([p.quality for p in parts]),
    )


def piece_of(file: OpenFile, place: int, group: int, number: int) -> Piece | None:
    """The tag's statistics in a row group; None when it must be read: a bad sample, or nothing known."""
    at = file.places.get(number)
    if at is None:
        return None
    chunk = file.parquet.metadata.row_group(group)
    value, quality = (chunk.column(k).statistics for k in (at, at + 1))
    if value is None or quality is None or not value.has_null_count or not quality.has_null_count:
        return None
    samples = chunk.num_rows - quality.null_count
    if samples == 0:
        return Piece(place, group, 0.0, 0.0, 0)
    whole = value.null_count == quality.null_count and value.has_min_max and quality.has_min_max
    if not whole or quality.max >= BAD:
        return None
    return Piece(place, group, float(value.min), float(value.max), samples)


def _column_of(file: OpenFile, group: int, edges: Times) -> int | None:
    """The pixel column that the whole row group lies in; None when it reaches over a border."""
    span = np.array([file.first_ns[group], file.last_ns[group]])
    if file.entry.kind is not Kind.WIDE or span[0] < edges[0] or span[1] >= edges[-1]:
        return None
    low, high = np.searchsorted(edges, span, side="right").tolist()
    return low if low == high else None


def _needless(pieces: Sequence[Piece]) -> list[Piece]:
    """Those that hold neither the first, the last, the smallest nor the largest sample of their column."""
    held = [p for p in pieces if p.samples]
    if not held:
        return list(pieces)
    smallest = min(held, key=lambda p: p.low)
    # Of equal ones the envelope shows the earliest.
    largest = max(held, key=lambda p: p.high)
    needed = {id(p) for p in (held[0], held[-1], smallest, largest)}
    return [p for p in pieces if id(p) not in needed]
