"""Makes the rollups of what the archive holds, and lets go of those whose time is up."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, Self

import numpy as np

from historian.archive.columns import within
from historian.archive.disk import Disk
from historian.archive.files import Files
from historian.archive.manifest import NAME, Kind, Segment
from historian.errors import StoredDataDamaged
from historian.frame import Qualities, TagIds, Times, Values
from historian.rollups.columns import MINUTE_NS, Rollup, coarser, joined, rollup_of, together
from historian.rollups.files import RollupReader, encode, load_rollups
from historian.rollups.listed import (
    INTERVALS,
    RollupFile,
    RollupList,
    Source,
    path_of,
    sha256_of,
    source_of,
    window_of,
)

_FILES: Final = "*/*=*/*.parquet"

Columns = tuple[TagIds, Times, Values, Qualities]
ReadSegment = Callable[[Segment], Iterable[Columns]]
"""Gives the samples of a segment, sorted by tag, then time; in parts that share no tag."""


def reader_of(archive: Path) -> ReadSegment:
    """Reads the segments of an archive's folder, one tag at a time.

    Raises:
        StoredDataDamaged: a file cannot be read.
    """
    files = Files(archive)

    def read(segment: Segment) -> Iterator[Columns]:
        for entry in segment.of_kind(Kind.WIDE, Kind.LONG):
            for part in files.of(entry).read(entry.tags, segment.start_ns, segment.end_ns):
                yield part.tag, part.time_ns, part.value, part.quality

    return read


class RollupWriter:
    """Makes rollups of what the archive holds.

    One process at a time. Every change is whole or has not happened, whatever stops it.
    """

    def __init__(self, root: Path, disk: Disk) -> None:
        self._root = root
        self._disk = disk
        self._unsure = False
        self.reader = RollupReader(root)

    @classmethod
    def open(cls, root: Path, disk: Disk) -> Self:
        """Open the folder and clear away what a crash left there; a missing folder holds no rollups yet.

        Raises:
            StoredDataDamaged: the list does not match its check sum, or is missing beside files. Nothing was
                changed: raw samples may have gone, and these be all there is.
        """
        writer = cls(root, disk)
        if load_rollups(root) is None:
            if any(root.glob(_FILES)):
                raise StoredDataDamaged(
                    f"{root / NAME}: missing, though rollups are there; nothing was changed. "
                    "Copy the folder away, then run `meltledger doctor`"
                )
            # From here on, files without a list mean that it was lost.
            writer._replace(RollupList())
        disk.sync_folder(root.parent)
        writer._sweep()
        return writer

    def gone(self, segments: Sequence[Segment]) -> list[tuple[int, int]]:
        """The windows whose minutes stand for samples that no segment holds any more."""
        return self.reader.listed.gone(MINUTE_NS, segments, -(2**63), 2**63)

    def bring_up(
        self,
        segments: Sequence[Segment],
        read: ReadSegment,
        paths: Mapping[int, str],
        gone: Sequence[tuple[int, int]] = (),
    ) -> int:
        """Roll up every segment that is behind, each file once; gives how many files were written.

        Rows of a window that no segment holds any more stay: raw samples go earlier than their rollups. What
        comes late into such a window is added to them.

        Args:
            segments: all that the archive holds.
            paths: tag number → path, for every tag in the archive.
            gone: what ``gone`` told before the newest segments were made: what these hold there came late.
        """
        self._settle()
        written = 0
        for interval_ns in sorted(INTERVALS.values()):
            windows = {
                window_of(at, interval_ns)
                for s in self.reader.listed.behind(segments, interval_ns)
                for at in (s.start_ns, s.end_ns - 1)
            }
            for start_ns, end_ns in sorted(windows):
                inside = [s for s in segments if s.start_ns < end_ns and s.end_ns > start_ns]
                whole, sources = self._rows(interval_ns, start_ns, end_ns, inside, read, gone)
                file = self._written(interval_ns, start_ns, end_ns, whole, sources, paths)
                self._replace(self.reader.listed.changed([file]))
                written += 1
        # Nothing is read of them before the next hour.
        self.reader.let_go()
        return written

    def cut(self, windows: Sequence[tuple[int, int]], paths: Mapping[int, str]) -> None:
        """Take every row out that stands for a time in some windows [start, end), and delete what held it.

        The rows at the windows' ends go as a whole; ``bring_up`` makes them again of what the archive holds
        there. Hours are made again of the minutes that stay.

        Args:
            paths: tag number → path, for every tag in the rollups.
        """
        self._settle()
        for interval_ns in sorted(INTERVALS.values()):
            for file in [f for f in self.reader.listed.files if f.interval_ns == interval_ns]:
                if any(a < file.end_ns and b > file.start_ns for a, b in windows):
                    self._cut_file(file, [_widened(w, interval_ns) for w in windows], paths)
        # What was superseded goes from the disk with the next change; here it must not wait.
        self._replace(self.reader.listed.changed([]))
        self.reader.let_go()

    def _cut_file(
        self, file: RollupFile, windows: Sequence[tuple[int, int]], paths: Mapping[int, str]
    ) -> None:
        interval_ns = file.interval_ns
        rows = self.reader.read(interval_ns, file.start_ns, file.end_ns)
        kept = rows.take(~within(rows.start_ns, windows))
        if interval_ns > MINUTE_NS:
            ends = [(max(a, file.start_ns), min(b, file.end_ns)) for a, b in windows]
            again = [self.reader.read(MINUTE_NS, a, b) for a, b in ends if a < b]
            kept = joined([kept, *(coarser(minutes, interval_ns) for minutes in again if len(minutes))])
        sources = {s for s in file.sources if not any(a < s[1] and b > s[0] for a, b in windows)}
        if not len(kept):
            self._replace(self.reader.listed.changed([], drop=[file]))
            return
        made = self._written(interval_ns, file.start_ns, file.end_ns, kept, sources, paths)
        self._replace(self.reader.listed.changed([made]))

    def drop(self, files: Iterable[RollupFile]) -> None:
        """Take whole files out; they go from the disk with the next change."""
        self._settle()
        self._replace(self.reader.listed.changed([], drop=files))

    def _rows(
        self,
        interval_ns: int,
        start_ns: int,
        end_ns: int,
        inside: Sequence[Segment],
        read: ReadSegment,
        gone: Sequence[tuple[int, int]],
    ) -> tuple[Rollup, set[Source]]:
        """The rows of a file: old ones, but new ones where a segment has changed."""
        listed = self.reader.listed
        sources = {s for f in listed.between(interval_ns, start_ns, end_ns) for s in f.sources}
        whole = self.reader.read(interval_ns, start_ns, end_ns)
        for segment in inside:
            if source_of(segment) in sources:
                continue
            rows = self._rolled(segment, interval_ns, read)
            is_in = (whole.start_ns >= segment.start_ns) & (whole.start_ns < segment.end_ns)
            replaced, whole = whole.take(is_in), whole.take(~is_in)
            # Longer intervals are made of minutes, which hold what has gone.
            alone = within(replaced.start_ns, gone if interval_ns == MINUTE_NS else ())
            rows = _with_gone(replaced.take(~alone), rows)
            if alone.any():
                rows = together(replaced.take(alone), rows)
            whole = joined([whole, rows])
            sources = {s for s in sources if s[1] <= segment.start_ns or s[0] >= segment.end_ns}
            sources.add(source_of(segment))
        return whole, sources

    def _rolled(self, segment: Segment, interval_ns: int, read: ReadSegment) -> Rollup:
        """A segment's rows; hours come from its minutes, which are made first and hold what has gone too."""
        if interval_ns > MINUTE_NS and self.reader.listed.holds(segment, MINUTE_NS):
            return coarser(self.reader.read(MINUTE_NS, segment.start_ns, segment.end_ns), interval_ns)
        return joined([rollup_of(*columns, interval_ns) for columns in read(segment)])

    def _written(
        self,
        interval_ns: int,
        start_ns: int,
        end_ns: int,
        whole: Rollup,
        sources: set[Source],
        paths: Mapping[int, str],
    ) -> RollupFile:
        path = path_of(start_ns, interval_ns, self.reader.listed.generation + 1)
        note = {
            "path": path,
            "interval_ns": interval_ns,
            "start_ns": start_ns,
            "end_ns": end_ns,
            "rows": len(whole),
            "samples": int(whole.samples.sum()),
            "sources": sorted(sources),
        }
        data = encode(whole, paths, note)
        self._disk.write(self._root / path, data)
        # A folder that was only just made must be in its parent for good as well.
        for folder in list((self._root / path).parents)[:3]:
            self._disk.sync_folder(folder)
        return file_of(note, len(data), sha256_of(data))

    def _replace(self, listed: RollupList) -> None:
        old = self.reader.listed.retired
        self._unsure = True
        publish(self._disk, self._root / NAME, listed.to_bytes())
        self._unsure = False
        self.reader.refresh()
        for path in old:
            self._disk.delete(self._root / path)

    def _settle(self) -> None:
        """After a replacement that failed half-way: whichever list stands there is the one to go on from.

        Else the next change would write over files that the one on disk names.
        """
        if self._unsure:
            self._disk.sync_folder(self._root)
            self._unsure = False
            self.reader.refresh()

    def _sweep(self) -> None:
        """Delete what a crash left: files that the list does not name, of its next generation at most."""
        listed = self.reader.listed
        named = {f.path for f in listed.files} | set(listed.retired)
        for path in sorted(self._root.glob(_FILES)):
            is_ours = path.stem.isdigit() and int(path.stem) <= listed.generation + 1
            if is_ours and path.relative_to(self._root).as_posix() not in named:
                self._disk.delete(path)


def _widened(window: tuple[int, int], interval_ns: int) -> tuple[int, int]:
    """A window out to whole intervals."""
    return window[0] // interval_ns * interval_ns, -(-window[1] // interval_ns) * interval_ns


def _with_gone(old: Rollup, new: Rollup) -> Rollup:
    """The new rows of a segment, and what the old ones hold of samples that have gone.

    A segment that is written anew never shrinks, in no interval of any tag: where the old row counts more,
    or there is no new one, the samples of the old one are not in the segment any more.
    """
    both = joined([old, new])
    paired = (both.tag[1:] == both.tag[:-1]) & (both.start_ns[1:] == both.start_ns[:-1])
    replaced = np.append(paired & (both.samples[:-1] <= both.samples[1:]), False)[: len(both)]
    return together(both.take(~replaced), Rollup.empty())


def publish(disk: Disk, path: Path, data: bytes) -> None:
    """A list in place of the old one, in one step."""
    beside = path.with_name(f"{path.name}.new")
    disk.write(beside, data)
    disk.rename(beside, path)
    disk.sync_folder(path.parent)


def file_of(note: dict[str, Any], size: int, sha256: str) -> RollupFile:
    """The entry of a file from its own note."""
    sources = tuple((int(a), int(b), int(g)) for a, b, g in note["sources"])
    return RollupFile(**{**note, "sources": sources, "bytes": size, "sha256": sha256})
