"""Closed hours and days of a line as Parquet segments, readable by any engine, listed in one manifest.

Layout, below the archive's folder (``FOLDER/archive``)::

    manifest.json                                      what counts; replaced atomically, never edited
    line=NAME/day=2026-03-29/hour-07-00000012-wide-0.parquet
    line=NAME/day=2026-03-29/hour-07-00000012-long.parquet
    line=NAME/day=2026-03-29/hour-07-00000012-frames.parquet
    line=NAME/day=2026-03-29/day-00000031-wide-0.parquet

NAME is the line's name, percent-encoded. The number is the generation of the manifest that brought the file:
a file is never written twice, so what a manifest names does not change under a reader.

A **segment** is everything the archive holds of one window of *source time*: a UTC hour or a UTC day,
[start, end). Windows never overlap. A segment has one file or more, of four kinds:

Times are timestamps, UTC, in ms or µs where that is exact; else in µs, rounded down, with another column
``NAME#ns`` (int16, last in the file) of the nanoseconds to be added: not every engine reads nanoseconds.

``wide``
    Tags that were scanned together: one row a scan, sorted by time, then seq. Columns: ``time``, ``seq``
    (int64), then for each tag its
    path (the value; null where there is none) and its path with ``#quality`` (uint32 OPC UA StatusCode; null
    where the tag has no sample in this row). A value column is DECIMAL kept as a scaled integer where every
    value is an exact decimal (its scale is the column's type), float where single precision is exact, double
    otherwise. The Parquet field id of a value column is the tag's number; its Arrow metadata has the unit.
``long``
    Tags with stamps of their own: one row a sample, sorted by tag number, time, seq. Columns: ``tag`` (path),
    ``tag_id`` (int32), ``time``, ``seq``, ``value`` (double, null where there is none), ``quality``.
``frames``
    One row a frame that the segment has samples of: ``seq`` (arrival number, int64, rising), ``arrival``
    (timestamp, UTC), ``epoch`` (clock epoch, int32). Join on ``seq`` for a sample's arrival.
``audit``
    What was sent but is not among the samples as it came: the columns of ``long`` and ``arrival``, ``epoch``,
    ``replaced_by``. That is the seq of the frame that wrote another sample for the same tag, source time and
    clock epoch, as OPC 10000-11 keeps modified values; -1 where a later frame only repeated it; -2 where it
    stands among the samples with a lower quality. Missing when there is none. With it, frames can be told
    exactly as they came.

``manifest.json``, UTF-8, keys sorted (``historian.archive.manifest`` reads and writes it)::

    {"format": "meltledger-archive", "version": 1,
     "line": "line-1",
     "generation": 12,          rises by one at every replacement
     "sealed_seq": 86400,       every frame up to this arrival number is in the segments
     "segments": [              sorted by start_ns
       {"level": "hour",        or "day"
        "start_ns": ..., "end_ns": ...,
        "generation": 12,       of the manifest that brought this form of the segment
        "samples": ...,         in its wide and long files together
        "files": [
          {"path": "line=.../day=.../...parquet",     relative to the archive's folder, / between
           "kind": "wide", "bytes": ..., "sha256": "...",
           "rows": ..., "samples": ...,
           "first_ns": ..., "last_ns": ...,           source time of its samples, both inside the window
           "first_seq": ..., "last_seq": ...,
           "tags": [1, 2, ...]}]}],                   tag numbers, rising; empty for frames
     "retired": ["line=.../...parquet"],              superseded by this change; deleted after it
     "checksum": "..."}         SHA-256 of the same object without this key, as canonical JSON

Canonical JSON: ``json.dumps(obj, sort_keys=True, separators=(",", ":"), ensure_ascii=False)`` in UTF-8.
The frames file of a segment is written last and holds, under the key ``meltledger.segment`` of its own
metadata, the segment's JSON as above with ``line`` and ``sealed_seq`` and without the frames file itself.
So a lost manifest can be rebuilt: for each window the highest generation whose files are all there and sound,
a day before the hours in it. Two samples of one tag and source time from different clock epochs are both
kept, and those of good quality among them are stored as uncertain.

Order of every change: new files are written and synced, their folders synced, the manifest is written beside
and synced, renamed over the old one, its folder synced. Only then superseded files go, and rows of
``recent.db`` may. So a crash leaves the old or the new state. What it leaves besides are files of the next
generation and superseded ones; the next writer deletes them. A reader that does not find a file looks at the
manifest again. An outside engine that reads ``line=*/day=*/*-wide-*.parquet`` sees a few samples twice while
a change is going on or after a crash; one that must not takes the paths from the manifest.
"""

from __future__ import annotations

from historian.archive.manifest import FileEntry, Kind, Level, Manifest, Segment
from historian.archive.reader import ArchiveReader
from historian.archive.writer import ArchiveWriter, load_manifest

__all__ = [
    "ArchiveReader",
    "ArchiveWriter",
    "FileEntry",
    "Kind",
    "Level",
    "Manifest",
    "Segment",
    "load_manifest",
]
