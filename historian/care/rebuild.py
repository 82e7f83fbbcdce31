"""What a store's files say of themselves, for when the list that named them is lost."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from historian.archive.columns import FrameTable
from historian.archive.disk import Disk
from historian.archive.manifest import FileEntry, Kind, Level, Manifest, Segment
from historian.archive.numbers import integers
from historian.archive.stamps import columns_of, times_of
from historian.archive.tables import META_KEY, frames_file
from historian.care.findings import FileFact
from historian.care.look import fact_of
from historian.care.mend import Candidate
from historian.errors import StoredDataDamaged
from historian.rollups.files import NOTE_KEY
from historian.rollups.listed import RollupFile, RollupList
from historian.rollups.writer import file_of

_FRAMES: Final = f"-{Kind.FRAMES}.parquet"
_GENERATION: Final = re.compile(r"\d{8}-.*$")
_NOT_READ: Final = (pa.ArrowException, OSError, ValueError, KeyError, TypeError)


def candidates(root: Path, there: Mapping[str, FileFact]) -> list[Candidate]:
    """Every form of a segment whose frames file reads from end to end; others are passed over.

    Args:
        root: folder of the archive.
        there: its files.
    """
    found = []
    for path, fact in there.items():
        if not path.endswith(_FRAMES):
            continue
        try:
            found.append(_candidate(root, path, fact))
        except _NOT_READ:
            continue
    return found


def rollups_again(root: Path, there: Mapping[str, FileFact]) -> RollupList:
    """A list of the rollup files that read from end to end; of one window, the newest."""
    found: dict[tuple[int, int], RollupFile] = {}
    for path, fact in sorted(there.items(), key=lambda item: Path(item[0]).name):
        try:
            note = _note(root / path, NOTE_KEY)
            file = file_of({**note, "path": path}, fact.bytes, fact.sha256)
        except _NOT_READ:
            continue
        found[file.interval_ns, file.start_ns] = file
    generation = max((int(Path(f.path).stem) for f in found.values()), default=0)
    files = tuple(sorted(found.values(), key=lambda f: (f.interval_ns, f.start_ns)))
    return RollupList(generation + 1, files)


def _candidate(root: Path, path: str, fact: FileFact) -> Candidate:
    note = _note(root / path, META_KEY)
    seq = pq.read_table(root / path, partitioning=None)["seq"].to_pylist()
    files = [FileEntry(**{**f, "kind": Kind(f["kind"]), "tags": tuple(f["tags"])}) for f in note["files"]]
    frames = _frames_entry(path, fact, files, seq)
    segment = Segment(
        level=Level(note["level"]),
        start_ns=note["start_ns"],
        end_ns=note["end_ns"],
        generation=note["generation"],
        samples=note["samples"],
        files=(*files, frames),
    )
    return Candidate(segment, note["line"], note["sealed_seq"])


def _note(path: Path, key: bytes) -> dict[str, Any]:
    """What a Parquet file says of itself, after all of it has been read."""
    with pq.ParquetFile(path) as file:
        file.read()
        note: dict[str, Any] = json.loads(file.metadata.metadata[key])
    return note


def with_frames(root: Path, segment: Segment, manifest: Manifest, disk: Disk) -> Segment:
    """A segment that has lost its frames file, with one made from the numbers that its samples carry.

    When they arrived is lost: each frame's newest source time stands for it, and one clock epoch for all.
    """
    held = segment.of_kind(Kind.WIDE, Kind.LONG)
    tables = [_stamped(root / f.path) for f in held]
    seq = np.concatenate([integers(t["seq"], np.int64) for t in tables])
    time_ns = np.concatenate([times_of(t, "time") for t in tables])
    order = np.lexsort((time_ns, seq))
    seq, time_ns = seq[order], time_ns[order]
    last = np.append(seq[1:] != seq[:-1], True)
    frames = FrameTable(seq[last], time_ns[last], np.zeros(int(last.sum()), dtype=np.int32))
    path = _GENERATION.sub(f"{manifest.generation:08d}{_FRAMES}", held[0].path)
    note = {**asdict(segment), "line": manifest.line, "sealed_seq": manifest.sealed_seq}
    disk.write(root / path, frames_file(frames, note))
    disk.sync_folder((root / path).parent)
    fact = fact_of(root / path)
    if fact is None:
        raise StoredDataDamaged(
            f"{root / path}: is gone as soon as it was written; is another writer at work?"
        )
    entry = _frames_entry(path, fact, segment.files, frames.seq.tolist())
    return replace(segment, files=(*segment.files, entry))


def _stamped(path: Path) -> Any:
    """The times and numbers of a segment's file."""
    names = columns_of(pq.read_schema(path).names, "time")
    return pq.read_table(path, columns=["seq", *names], partitioning=None)


def _frames_entry(path: str, fact: FileFact, files: Sequence[FileEntry], seq: Sequence[int]) -> FileEntry:
    """What the list says of a frames file."""
    held = [f for f in files if f.kind in (Kind.WIDE, Kind.LONG)]
    return FileEntry(
        path=path,
        kind=Kind.FRAMES,
        bytes=fact.bytes,
        sha256=fact.sha256,
        rows=len(seq),
        samples=0,
        first_ns=min(f.first_ns for f in held),
        last_ns=max(f.last_ns for f in held),
        first_seq=seq[0],
        last_seq=seq[-1],
    )
