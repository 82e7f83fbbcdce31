"""Frames put together again from the segments, in order of arrival: what a replay judges."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from historian.archive.columns import Columns, FrameTable
from historian.archive.files import Files
from historian.archive.manifest import FileEntry, Kind, Manifest
from historian.frame import Frame


def next_number(manifest: Manifest, after: int) -> int | None:
    """Where to look on from ``after``: no number between is in the archive; None when none is above."""
    later = [max(f.first_seq, after + 1) for f in manifest.files() if f.last_seq > after]
    return min(later, default=None)


def frames_between(files: Files, manifest: Manifest, first: int, last: int) -> list[tuple[int, Frame]]:
    """The frames with arrival numbers from first to last, both taken in, rising."""
    met = [f for f in manifest.files() if f.first_seq <= last and f.last_seq >= first]
    # Of two rows for one tag and time in a frame the one that was replaced came first.
    met.sort(key=lambda f: f.kind is not Kind.AUDIT)
    samples = Columns.joined([files.of(f).numbered(first, last) for f in met if f.kind is not Kind.FRAMES])
    if len(samples) == 0:
        return []
    table = FrameTable.union([_table(files, f) for f in met if f.kind in (Kind.FRAMES, Kind.AUDIT)])
    rows = samples.where(np.lexsort((samples.time_ns, samples.tag, samples.seq)))
    edges = np.flatnonzero(np.append(True, rows.seq[1:] != rows.seq[:-1])).tolist()
    found = []
    for a, b in pairwise([*edges, len(rows)]):
        seq = int(rows.seq[a])
        at = table.places(rows.seq[a : a + 1])[0]
        columns = (rows.tag[a:b], rows.time_ns[a:b], rows.value[a:b], rows.quality[a:b])
        found.append((seq, Frame(*columns, int(table.arrival_ns[at]), int(table.epoch[at]))))
    return found


def _table(files: Files, entry: FileEntry) -> FrameTable:
    file = files.of(entry)
    return file.frames() if entry.kind is Kind.FRAMES else file.audit()[1]
