"""Frames put together again from the segments, in order of arrival: what a replay judges."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from historian.archive.audit import Audit
from historian.archive.columns import GRADED, Columns, FrameTable
from historian.archive.files import Files
from historian.archive.manifest import FileEntry, Kind, Manifest
from historian.frame import Frame, Qualities
from historian.quality import UNCERTAIN


def next_number(manifest: Manifest, after: int) -> int | None:
    """Where to look on from ``after``: no number between is in the archive; None when none is above."""
    later = [max(f.first_seq, after + 1) for f in manifest.files() if f.last_seq > after]
    return min(later, default=None)


def frames_between(files: Files, manifest: Manifest, first: int, last: int) -> list[tuple[int, Frame]]:
    """The frames with arrival numbers from first to last, both taken in, rising."""
    met = [f for f in manifest.files() if f.first_seq <= last and f.last_seq >= first]
    tables = [_table(files, f) for f in met if f.kind in (Kind.FRAMES, Kind.AUDIT)]
    table = FrameTable.union(tables).between(first, last)
    held = (Kind.WIDE, Kind.LONG)
    kept = Columns.joined([files.of(f).numbered(first, last) for f in met if f.kind in held])
    audits = [files.of(f).audit()[0].between(first, last) for f in met if f.kind is Kind.AUDIT]
    samples = as_they_came(kept, Audit.joined(audits))
    rows = samples.where(np.lexsort((samples.time_ns, samples.tag, samples.seq)))
    edges = np.searchsorted(rows.seq, np.append(table.seq, last + 1)).tolist()
    found = []
    for place, (a, b) in enumerate(pairwise(edges)):
        columns = (rows.tag[a:b], rows.time_ns[a:b], rows.value[a:b], rows.quality[a:b])
        frame = Frame(*columns, int(table.arrival_ns[place]), int(table.epoch[place]))
        found.append((int(table.seq[place]), frame))
    return found


def as_they_came(kept: Columns, audit: Audit) -> Columns:
    """All samples of frames; of two rows for one tag and time in a frame the replaced one comes first.

    What was graded is on record as it came: that stands for the sample with the lower quality, which is kept,
    or was replaced since.
    """
    if len(audit) == 0:
        return kept
    graded = audit.replaced_by == GRADED
    lowered = audit.rows.where(graded)
    left = Counter(_keys(lowered, lowered.quality | np.uint32(UNCERTAIN)))
    met = np.isin(kept.time_ns, lowered.time_ns)
    kept = kept.where(_not_in(left, kept, met))
    others = _not_in(left, audit.rows, ~graded & np.isin(audit.rows.time_ns, lowered.time_ns))
    return Columns.joined([audit.rows.where(others), kept])


def _not_in(left: Counter[tuple[int, ...]], rows: Columns, asked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which rows are not among those left; the ones found are taken from them."""
    stays = np.ones(len(rows), dtype=np.bool_)
    places = np.flatnonzero(asked)
    for place, key in zip(places.tolist(), _keys(rows.where(places), rows.quality[places]), strict=True):
        if left[key]:
            left[key] -= 1
            stays[place] = False
    return stays


def _keys(rows: Columns, quality: Qualities) -> list[tuple[int, ...]]:
    columns = (rows.tag, rows.time_ns, rows.seq, rows.value.view(np.int64), quality)
    return list(zip(*(c.tolist() for c in columns), strict=True))


def _table(files: Files, entry: FileEntry) -> FrameTable:
    file = files.of(entry)
    return file.frames() if entry.kind is Kind.FRAMES else file.audit()[1]
