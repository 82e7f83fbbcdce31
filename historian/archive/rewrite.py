"""A segment made anew from what it was made of before and from what has come since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Final, Protocol

import numpy as np

from historian.archive.audit import Audit
from historian.archive.columns import Columns, Seqs
from historian.archive.manifest import HOUR_NS, FileEntry, Kind, Level, Segment
from historian.archive.numbers import form_of
from historian.archive.stamps import finest, unit_of
from historian.archive.supply import Supply, Window
from historian.archive.tables import (
    LONG_ROWS,
    WideShape,
    audit_file,
    frames_file,
    long_columns,
    long_file,
    wide_columns,
    wide_file,
)
from historian.tags import Tag

_DAY_STEP_NS: Final = 2 * HOUR_NS
_LONG_BATCH: Final = 200_000


class Put(Protocol):
    """Keeps a file of the new segment under a name; gives its path, size and check sum."""

    def __call__(self, name: str, data: bytes) -> tuple[str, int, str]: ...


class Rewrite:
    """Writes the files of one segment and gives the segment as the manifest shall list it."""

    def __init__(self, window: Window, supply: Supply, tags: Mapping[int, Tag], put: Put) -> None:
        """Args: ``tags`` holds every number that the supply has."""
        self._window = window
        self._supply = supply
        self._tags = tags
        self._put = put
        self._files: list[FileEntry] = []
        self._seqs: list[Seqs] = []

    def segment(self) -> Segment:
        """Write it."""
        wide = self._supply.groups()
        for place, group in enumerate(wide):
            self._write_wide(f"wide-{place}", group)
        together = {tag for group in wide for tag in group}
        alone = [tag for tag in self._supply.tags if tag not in together]
        if alone:
            self._write_long(alone)
        if self._supply.audits:
            self._write_audit()
        return self._close()

    def _write_wide(self, name: str, group: Sequence[int]) -> None:
        shape = self._shape(group)
        file, tally = wide_file(shape), _Tally()
        for start_ns, end_ns in self._steps():
            kept = self._supply.of(group, start_ns, end_ns)
            if len(kept):
                file.add(wide_columns(shape, kept))
                tally.take(kept)
        self._keep(name, Kind.WIDE, file.close(), file.rows, tally)

    def _shape(self, group: Sequence[int]) -> WideShape:
        """Each tag is looked at over the whole window, because a file's columns have one type all along."""
        forms, units = {}, set()
        for number in group:
            seen = self._supply.peek(number)
            forms[number] = form_of(seen.value)
            units.add(unit_of(seen.time_ns))
        return WideShape({n: self._tags[n] for n in group}, forms, finest(units))

    def _steps(self) -> list[tuple[int, int]]:
        """One step a row group."""
        step = _DAY_STEP_NS if self._window.level is Level.DAY else HOUR_NS
        return [(at, at + step) for at in range(self._window.start_ns, self._window.end_ns, step)]

    def _write_long(self, alone: Sequence[int]) -> None:
        counts = {}
        units = set()
        for number in alone:
            seen = self._supply.peek(number)
            counts[number] = len(seen)
            units.add(unit_of(seen.time_ns))
        unit = finest(units)
        file, tally = long_file(unit), _Tally()
        paths = {n: self._tags[n].path for n in alone}
        for batch in _batches(counts):
            kept = self._supply.of(batch, self._window.start_ns, self._window.end_ns)
            tally.take(kept)
            for at in range(0, len(kept), LONG_ROWS):
                file.add(long_columns(kept.where(slice(at, at + LONG_ROWS)), paths, unit))
        self._keep("long", Kind.LONG, file.close(), file.rows, tally)

    def _write_audit(self) -> None:
        audit = Audit.joined(self._supply.audits)
        paths = {n: self._tags[n].path for n in np.unique(audit.rows.tag).tolist()}
        tally = _Tally()
        tally.take(audit.rows)
        data = audit_file(audit, self._supply.frames, paths)
        self._keep("audit", Kind.AUDIT, data, len(audit), tally)

    def _close(self) -> Segment:
        """The frames file, written last: with it the segment is whole."""
        window = self._window
        used = np.unique(np.concatenate([*self._seqs, self._supply.named]))
        frames = self._supply.frames.only(used)
        held = [f for f in self._files if f.kind in (Kind.WIDE, Kind.LONG)]
        samples = sum(f.samples for f in held)
        segment = Segment(
            window.level, window.start_ns, window.end_ns, window.generation, samples, tuple(self._files)
        )
        note = {**asdict(segment), "line": window.line, "sealed_seq": window.sealed_seq}
        path, size, sha256 = self._put("frames", frames_file(frames, note))
        entry = FileEntry(
            path,
            Kind.FRAMES,
            size,
            sha256,
            len(frames),
            0,
            min(f.first_ns for f in held),
            max(f.last_ns for f in held),
            int(used[0]),
            int(used[-1]),
        )
        return Segment(
            window.level,
            window.start_ns,
            window.end_ns,
            window.generation,
            samples,
            (*self._files, entry),
        )

    def _keep(self, name: str, kind: Kind, data: bytes, rows: int, tally: _Tally) -> None:
        path, size, sha256 = self._put(name, data)
        self._files.append(
            FileEntry(
                path,
                kind,
                size,
                sha256,
                rows,
                tally.samples,
                tally.first_ns,
                tally.last_ns,
                tally.first_seq,
                tally.last_seq,
                tuple(sorted(tally.tags)),
            )
        )
        self._seqs.extend(tally.seqs)


class _Tally:
    """What the manifest says of the samples in a file."""

    def __init__(self) -> None:
        self.samples = 0
        self.first_ns, self.last_ns = 2**63 - 1, -(2**63)
        self.first_seq, self.last_seq = 2**63 - 1, 0
        self.tags: set[int] = set()
        self.seqs: list[Seqs] = []

    def take(self, kept: Columns) -> None:
        seqs = np.unique(kept.seq)
        self.samples += len(kept)
        self.first_ns = min(self.first_ns, int(kept.time_ns.min()))
        self.last_ns = max(self.last_ns, int(kept.time_ns.max()))
        self.first_seq, self.last_seq = min(self.first_seq, int(seqs[0])), max(self.last_seq, int(seqs[-1]))
        self.tags.update(np.unique(kept.tag).tolist())
        self.seqs.append(seqs)


def _batches(counts: Mapping[int, int]) -> list[list[int]]:
    """Tags in rising order, some at a time, so that no batch holds more than it must."""
    batches: list[list[int]] = []
    held = 0
    for number in sorted(counts):
        if not batches or held + counts[number] > _LONG_BATCH:
            batches.append([])
            held = 0
        batches[-1].append(number)
        held += counts[number]
    return batches
