"""What a new segment is made of: an old segment's files and what has come since, merged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from historian.archive.audit import Audit
from historian.archive.columns import Columns, FrameTable, Seqs, merge, within
from historian.archive.files import Files
from historian.archive.groups import Groups, agreed, groups_of
from historian.archive.manifest import Kind, Level, Segment


@dataclass(frozen=True, slots=True)
class Window:
    """What the new segment covers, and in which state of the archive it first stands."""

    line: str
    level: Level
    start_ns: int
    end_ns: int
    generation: int
    sealed_seq: int


class Supply:
    """Samples for a new segment by tag and time, merged.

    An hour is merged in memory as a whole. A day is read piece by piece from its hours, so that it never
    stands in memory as a whole.
    """

    def __init__(
        self,
        window: Window,
        old: Sequence[Segment],
        fresh: Columns,
        arrivals: FrameTable,
        files: Files,
        *,
        empty: Seqs,
        without: Sequence[tuple[int, int]] = (),
    ) -> None:
        """From the segments that the window covers and from samples that lie in it.

        Args:
            arrivals: holds every frame that ``fresh`` or ``empty`` names.
            empty: numbers of frames without a sample that are to stand in this segment.
            without: windows [start, end) of source time of which nothing is to come along.
        """
        self._window = window
        self._old = old
        self._without = without
        self._open = [files.of(f) for s in old for f in s.of_kind(Kind.WIDE, Kind.LONG)]
        tables = [files.of(f).frames() for s in old for f in s.of_kind(Kind.FRAMES)]
        audits = [files.of(f).audit() for s in old for f in s.of_kind(Kind.AUDIT)]
        self.audits: list[Audit] = [kept for audit, _ in audits if len(kept := audit.outside(without))]
        self.frames = FrameTable.union([*tables, *(table for _, table in audits), arrivals])
        # With those that hold no sample at all: the next ones' numbers count them.
        self.named = np.concatenate([*(t.seq for t in tables), *(t.seq for _, t in audits), empty])
        self.tags = sorted({t for f in self._open for t in f.entry.tags} | set(np.unique(fresh.tag).tolist()))
        self._fresh = fresh.where(np.argsort(fresh.tag, kind="stable"))
        self._merged: Columns | None = None
        if without:
            self.tags = [t for t in self.tags if len(self._gather([t], window.start_ns, window.end_ns))]
        if window.level is Level.HOUR:
            self._merged = self._merge(self._gather(self.tags, window.start_ns, window.end_ns))

    def groups(self) -> Groups:
        """The scan groups of the window."""
        if self._merged is not None:
            return groups_of(self._merged)
        groupings = [
            {tag: f.path for f in segment.of_kind(Kind.WIDE) for tag in f.tags if tag in self.tags}
            for segment in self._old
        ]
        return agreed(groupings)

    def of(self, tags: Sequence[int], start_ns: int, end_ns: int) -> Columns:
        """The merged samples of some tags in [start, end), sorted by tag, time and arrival number.

        What was replaced goes on record at every call: ask for each sample once.
        """
        if self._merged is not None:
            return _slices(self._merged, tags)
        return self._merge(self._gather(tags, start_ns, end_ns))

    def peek(self, tag: int) -> Columns:
        """All samples of one tag, before merging when the window is a day; nothing goes on record."""
        if self._merged is not None:
            return _slices(self._merged, [tag])
        return self._gather([tag], self._window.start_ns, self._window.end_ns)

    def _gather(self, tags: Sequence[int], start_ns: int, end_ns: int) -> Columns:
        parts = [part for f in self._open for part in f.read(tags, start_ns, end_ns)]
        found = Columns.joined([*parts, _slices(self._fresh, tags).between(start_ns, end_ns)])
        return found.where(~within(found.time_ns, self._without)) if self._without else found

    def _merge(self, samples: Columns) -> Columns:
        merged = merge(samples, self.frames)
        audit = Audit.of(merged)
        if len(audit):
            self.audits.append(audit)
        return merged.kept


def _slices(rows: Columns, tags: Sequence[int]) -> Columns:
    """The rows of some tags out of rows that are sorted by tag."""
    low, high = (np.searchsorted(rows.tag, sorted(tags), side=s).tolist() for s in ("left", "right"))
    parts = [rows.where(slice(a, b)) for a, b in zip(low, high, strict=True) if b > a]
    return Columns.joined(parts)
