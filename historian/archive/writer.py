"""The archive's one writer: seals closed hours, makes days of them, merges what comes late."""

from __future__ import annotations

import contextlib
import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from urllib.parse import quote

import numpy as np

from historian.archive.columns import Columns, FrameTable, Seqs
from historian.archive.disk import Disk, HostDisk
from historian.archive.files import Files
from historian.archive.manifest import DAY_NS, NAME, Level, Manifest, Segment, window_of
from historian.archive.rewrite import Rewrite
from historian.archive.supply import Supply, Window
from historian.errors import MeltledgerError, StoredDataDamaged, UnknownTag, WrongInput
from historian.frame import NS, Frame
from historian.tags import Tag

_AT_ONCE: Final = 1_500_000
_SEGMENT_FILES: Final = "line=*/day=*/*.parquet"
_GENERATION: Final = re.compile(r"/(?:day|hour-\d\d)-(\d{8,})-[^/]*$")


class ArchiveWriter:
    """Changes the archive of one line; see ``historian.archive`` for what lies where.

    One process at a time. Every change is whole or has not happened, whatever stops it.
    """

    def __init__(self, root: Path, manifest: Manifest, disk: Disk) -> None:
        self._root = root
        self._disk = disk
        self._files = Files(root)
        self._written: list[str] = []
        self._unsure = False
        self.manifest = manifest

    @classmethod
    def open(cls, root: Path, line: str, *, disk: Disk | None = None) -> ArchiveWriter:
        """Open the folder and clear away what a crash left there; a missing folder is an empty archive.

        Raises:
            WrongInput: the folder is another line's, or a newer release wrote it.
            StoredDataDamaged: the manifest does not match its check sum, is missing beside segments, is older
                than they are, or names a file that is not there. Nothing was changed.
        """
        manifest = load_manifest(root)
        if manifest is None and any(root.glob(_SEGMENT_FILES)):
            raise StoredDataDamaged(
                f"{root / NAME}: missing, though segments are there; nothing was changed. "
                "Copy the folder away, then run `meltledger doctor`"
            )
        if manifest is not None and manifest.line != line:
            raise WrongInput(f"{root}: holds the line '{manifest.line}', not '{line}'; choose another folder")
        writer = cls(root, manifest or Manifest(line), disk or HostDisk())
        if manifest is None:
            # From here on, files without a manifest mean that it was lost.
            writer._replace(writer.manifest.changed([]))
        # The one that made the folder may have been stopped before this.
        writer._disk.sync_folder(root.parent)
        writer._sweep()
        return writer

    def seal(
        self, frames: Iterable[tuple[int, Frame]], tags: Mapping[int, Tag], *, up_to_seq: int | None = None
    ) -> int:
        """Take in the frames up to an arrival number (all when not given), as far as they are not in yet.

        Samples go to the hour of their source time; where an hour or a day is there already, they are merged.

        Args:
            frames: numbered, rising, from ``manifest.sealed_seq`` + 1 on or from before.
            tags: number → tag, for every tag in the frames and in the archive.

        Returns:
            the arrival number up to which the archive holds every frame: rows up to it may go. Frames without
            a sample at the end of all wait for the next that has one.

        Raises:
            UnknownTag: a number without a tag. StoreFull, StoreReadOnly: the archive is as it was before.
        """
        self._settle()
        batch: list[tuple[int, Frame]] = []
        empty: list[tuple[int, Frame]] = []
        held = 0
        for seq, frame in frames:
            if up_to_seq is not None and seq > up_to_seq:
                break
            if seq <= self.manifest.sealed_seq:
                continue
            if len(frame) == 0:
                # It has no window; it goes along with the next frame that has one.
                empty.append((seq, frame))
                continue
            batch += [*empty, (seq, frame)]
            empty = []
            held += len(frame)
            if held >= _AT_ONCE:
                self._take(batch, tags)
                batch, held = [], 0
        if batch:
            self._take(batch, tags)
        return self.manifest.sealed_seq

    def compact(self, tags: Mapping[int, Tag], *, before_ns: int) -> int:
        """Make one segment of the hours of each day that ended before a time; gives how many days.

        Raises:
            StoreFull, StoreReadOnly: days made before stay made.
        """
        self._settle()
        hours = [s for s in self.manifest.segments if s.level is Level.HOUR]
        days = sorted({s.start_ns // DAY_NS * DAY_NS for s in hours})
        nothing, nobody = Columns.joined([]), FrameTable.of([])
        closed = [start for start in days if start + DAY_NS <= before_ns]
        for start in closed:
            self._change([(Level.DAY, start)], nothing, nobody, tags, self.manifest.sealed_seq)
        return len(closed)

    def cut(self, windows: Sequence[tuple[int, int]], tags: Mapping[int, Tag]) -> int:
        """Take the samples of some windows [start, end) out for good; gives how many.

        Segments that held some are written anew without them; one that is left with none goes. What was
        replaced in those windows goes from the record of replaced samples as well.

        Raises:
            StoreFull, StoreReadOnly: the archive is as it was before.
        """
        self._settle()
        before = sum(s.samples for s in self.manifest.segments)
        touched = {s for a, b in windows for s in self.manifest.between(a, b)}
        if touched:
            nothing, nobody = Columns.joined([]), FrameTable.of([])
            places = sorted(((s.level, s.start_ns) for s in touched), key=lambda place: place[1])
            self._change(places, nothing, nobody, tags, self.manifest.sealed_seq, without=windows)
        return before - sum(s.samples for s in self.manifest.segments)

    def drop(self, segments: Iterable[Segment]) -> None:
        """Take whole segments out of the archive, with their files."""
        self._settle()
        self._replace(self.manifest.changed([], drop=segments))

    def _take(self, batch: Sequence[tuple[int, Frame]], tags: Mapping[int, Tag]) -> None:
        arrivals = FrameTable.of((n, f.arrival_ns, f.clock_epoch) for n, f in batch)
        fresh = Columns.of_frames(batch)
        missing = sorted(set(np.unique(fresh.tag).tolist()) - set(tags))
        if missing:
            raise UnknownTag(f"{self._root}: frames hold the tag numbers {missing[:5]}, which no tag has")
        self._change(list(self._windows(fresh)), fresh, arrivals, tags, batch[-1][0])

    def _change(
        self,
        windows: Sequence[tuple[Level, int]],
        fresh: Columns,
        arrivals: FrameTable,
        tags: Mapping[int, Tag],
        sealed_seq: int,
        without: Sequence[tuple[int, int]] = (),
    ) -> None:
        """Write the segments of some windows anew and let the manifest name them."""
        self._written = []
        empty = np.setdiff1d(arrivals.seq, fresh.seq)
        try:
            new: list[Segment] = []
            left: list[Segment] = []
            for level, start_ns in windows:
                end_ns = start_ns + level.span_ns
                coming = fresh.between(start_ns, end_ns)
                made = self._rewrite(level, start_ns, coming, arrivals, empty, tags, sealed_seq, without)
                if made is None:
                    left += self.manifest.between(start_ns, end_ns)
                else:
                    new.append(made)
                empty = empty[:0]
            self._sync(new)
        except MeltledgerError:
            # No manifest names them, and on a full disk the next try needs their space.
            self._delete(self._written)
            raise
        self._replace(self.manifest.changed(new, drop=left, sealed_seq=sealed_seq))

    def _windows(self, fresh: Columns) -> Iterator[tuple[Level, int]]:
        """The segments that the samples go to: the day where it was made already, else the hour."""
        seen: set[int] = set()
        for hour in np.unique(fresh.time_ns // Level.HOUR.span_ns).tolist():
            start, end = window_of(hour * Level.HOUR.span_ns, Level.HOUR)
            there = self.manifest.between(start, end)
            level = there[0].level if there else Level.HOUR
            start, _ = window_of(start, level)
            if start not in seen:
                seen.add(start)
                yield level, start

    def _rewrite(
        self,
        level: Level,
        start_ns: int,
        fresh: Columns,
        arrivals: FrameTable,
        empty: Seqs,
        tags: Mapping[int, Tag],
        sealed_seq: int,
        without: Sequence[tuple[int, int]],
    ) -> Segment | None:
        """The segment; none where nothing would be in it."""
        generation = self.manifest.generation + 1
        window = Window(self.manifest.line, level, start_ns, start_ns + level.span_ns, generation, sealed_seq)
        stem = _stem(window)

        def put(name: str, data: bytes) -> tuple[str, int, str]:
            path = f"{stem}-{name}.parquet"
            self._written.append(path)
            self._disk.write(self._root / path, data)
            return path, len(data), hashlib.sha256(data).hexdigest()

        old = self.manifest.between(window.start_ns, window.end_ns)
        supply = Supply(window, old, fresh, arrivals, self._files, empty=empty, without=without)
        if without and not supply.tags:
            return None
        return Rewrite(window, supply, tags, put).segment()

    def _sync(self, new: Sequence[Segment]) -> None:
        folders = {(self._root / f.path).parent for s in new for f in s.files}
        # A folder that was only just made must be in its parent for good as well.
        for folder in sorted(folders | {f.parent for f in folders} | {self._root}, reverse=True):
            self._disk.sync_folder(folder)

    def _replace(self, manifest: Manifest) -> None:
        """Let the manifest stand; then what it supersedes goes. Readers that miss a file look again."""
        beside = self._root / f"{NAME}.new"
        self._unsure = True
        self._disk.write(beside, manifest.to_bytes())
        self._disk.rename(beside, self._root / NAME)
        self._disk.sync_folder(self._root)
        self._unsure = False
        self.manifest = manifest
        self._files.clear()
        self._delete(manifest.retired)

    def _settle(self) -> None:
        """After a replacement that failed half-way: whichever manifest stands there is the one to go on from.

        Else the next change would write over files that the one on disk names.
        """
        if not self._unsure:
            return
        self._disk.sync_folder(self._root)
        self.manifest = load_manifest(self._root) or self.manifest
        self._files.clear()
        self._unsure = False
        self._sweep()

    def _delete(self, paths: Iterable[str]) -> None:
        # What cannot be deleted now goes when the archive is opened next.
        with contextlib.suppress(MeltledgerError):
            for path in paths:
                self._disk.delete(self._root / path)

    def _sweep(self) -> None:
        """Delete files that the manifest does not name: what a crash left.

        A crash leaves files of the next generation and superseded ones. Anything else says that the manifest
        is not the newest there was, and then nothing may be deleted or written.
        """
        there = {p.relative_to(self._root).as_posix() for p in self._root.glob(_SEGMENT_FILES)}
        named = {f.path for f in self.manifest.files()}
        newest = max((_generation_of(path) for path in there), default=0)
        if named - there or newest > self.manifest.generation + 1:
            what = f"{sorted(named - there)[0]} is missing" if named - there else "older than the segments"
            raise StoredDataDamaged(
                f"{self._root / NAME}: {what}; nothing was changed. "
                "Copy the folder away, then run `meltledger doctor`"
            )
        self._delete([*sorted(there - named), f"{NAME}.new"])


def load_manifest(root: Path) -> Manifest | None:
    """The manifest of an archive's folder; None where there is none.

    Raises:
        WrongInput, StoredDataDamaged: see ``Manifest.from_bytes``.
    """
    path = root / NAME
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    return Manifest.from_bytes(data, where=str(path))


def _stem(window: Window) -> str:
    """Folder and beginning of the names of a segment's files."""
    at = datetime.fromtimestamp(window.start_ns // NS, UTC)
    hour = f"{at:%H}-" if window.level is Level.HOUR else ""
    folder = f"line={quote(window.line, safe='')}/day={at:%Y-%m-%d}"
    return f"{folder}/{window.level}-{hour}{window.generation:08d}"


def _generation_of(path: str) -> int:
    """The generation in a segment file's name; 0 for a name that is none of ours."""
    found = _GENERATION.search(path)
    return int(found.group(1)) if found else 0
