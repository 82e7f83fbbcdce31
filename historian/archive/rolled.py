"""Rows of rollups straight from a segment's file: the tags of a scan group share their intervals' edges."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from historian.archive.columns import Columns
from historian.archive.files import OpenFile
from historian.archive.manifest import Kind
from historian.frame import Times, Values
from historian.quality import GOOD
from historian.rollups.columns import Rollup, rollup_of

Grid = NDArray[np.float64]


def rolled(
    file: OpenFile, numbers: Sequence[int], start_ns: int, end_ns: int, interval_ns: int
) -> Iterator[Rollup]:
    """The rows of some tags for [start, end), a row group at a time, in no order; an interval may be cut.

    Tags that have a good sample in every scan of the row group are rolled up together, others by themselves.
    """
    for group in file.groups_between(start_ns, end_ns):
        parts = file.read(numbers, start_ns, end_ns, groups=[group], numbered=False)
        whole = [p for p in parts if file.entry.kind is Kind.WIDE and _is_plain(p, parts[0])]
        if whole:
            yield _together(whole, interval_ns)
        rest = Columns.joined([p for p in parts if all(p is not w for w in whole)])
        if len(rest):
            rest = rest.where(np.argsort(rest.tag, kind="stable"))
            yield rollup_of(rest.tag, rest.time_ns, rest.value, rest.quality, interval_ns)


def _is_plain(part: Columns, first: Columns) -> bool:
    """Whether all of a tag is good, and stands at the times that the first tag does."""
    if len(part) != len(first) or part.quality.any() or np.isnan(part.value).any():
        return False
    return part.time_ns is first.time_ns or np.array_equal(part.time_ns, first.time_ns)


def _together(parts: Sequence[Columns], interval_ns: int) -> Rollup:
    """The rows of tags whose samples stand at the same times, all good."""
    time_ns = parts[0].time_ns
    begins = time_ns - time_ns % interval_ns
    starts = np.flatnonzero(np.append(True, begins[1:] != begins[:-1]))
    sizes = np.diff(np.append(starts, len(time_ns)))
    value = np.stack([p.value for p in parts])
    tags, rows = len(parts), len(starts)
    flat = (np.arange(tags)[:, None] * len(time_ns) + starts).ravel()
    ends = flat + np.tile(sizes, tags) - 1
    lowest, lowest_ns = _extreme(value, np.minimum, starts, sizes, flat, time_ns)
    highest, highest_ns = _extreme(value, np.maximum, starts, sizes, flat, time_ns)
    start_ns = np.tile(begins[starts], tags)
    none = np.zeros(tags * rows, dtype=np.int32)
    return Rollup(
        tag=np.repeat(np.array([int(p.tag[0]) for p in parts], dtype=np.int32), rows),
        start_ns=start_ns,
        samples=np.tile(sizes.astype(np.int32), tags),
        uncertain=none,
        bad=none,
        worst=np.full(tags * rows, GOOD, dtype=np.uint32),
        total=np.add.reduceat(value, starts, axis=1).ravel(),
        first=value.ravel()[flat],
        minimum=lowest,
        maximum=highest,
        last=value.ravel()[ends],
        first_ns=time_ns[flat % len(time_ns)],
        minimum_ns=lowest_ns,
        maximum_ns=highest_ns,
        last_ns=time_ns[ends % len(time_ns)],
        bad_first_ns=start_ns,
        bad_last_ns=start_ns,
    )


def _extreme(
    value: Grid,
    which: np.ufunc,
    starts: NDArray[np.intp],
    sizes: NDArray[np.intp],
    flat: NDArray[np.intp],
    time_ns: Times,
) -> tuple[Values, Times]:
    """The smallest or largest value of each interval of each tag, and the time of the first such sample."""
    found = which.reduceat(value, starts, axis=1)
    at = np.flatnonzero(value == np.repeat(found, sizes, axis=1))
    first = at[np.searchsorted(at, flat)]
    return found.ravel(), time_ns[first % len(time_ns)]
