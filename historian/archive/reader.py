"""Reads the archive of a line: any number of processes, beside the one that writes."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TypeVar

from historian.archive.columns import Columns, FrameTable
from historian.archive.files import Files
from historian.archive.manifest import NAME, FileEntry, Kind, Manifest
from historian.archive.outline import outline
from historian.archive.replay import frames_between, next_number
from historian.archive.rolled import rolled
from historian.archive.writer import load_manifest
from historian.envelope import Envelope
from historian.errors import StoredDataDamaged
from historian.frame import Frame, Series
from historian.rollups.columns import Rollup, joined, united
from historian.store import Modified, Sample

_T = TypeVar("_T")
_TRIES = 5
_FRAMES_AT_ONCE = 4_000


class ArchiveReader:
    """Answers from the state of the archive that the manifest shows; follows it when it changes.

    Not safe for several threads at once. Tags go by their numbers.
    """

    def __init__(self, root: Path) -> None:
        self._root = root
        self._files = Files(root)
        self._stamp: tuple[int, int, int] | None = None
        self._by_tag: dict[int, list[FileEntry]] = {}
        self.manifest = Manifest("")
        self.refresh()

    def refresh(self) -> Manifest:
        """Take in the manifest when another one stands there now.

        Raises:
            StoredDataDamaged, WrongInput: it cannot be read; see ``Manifest.from_bytes``.
        """
        try:
            found = (self._root / NAME).stat()
        except FileNotFoundError:
            return self.manifest
        stamp = (found.st_mtime_ns, found.st_ino, found.st_size)
        if stamp != self._stamp:
            self.manifest = load_manifest(self._root) or self.manifest
            self._stamp = stamp
            self._by_tag = _by_tag(self.manifest)
        return self.manifest

    def columns(self, numbers: Sequence[int], start_ns: int, end_ns: int) -> dict[int, Columns]:
        """The samples with start ≤ source time < end, each tag sorted by time, with their arrival numbers.

        Raises:
            StoredDataDamaged: naming the file that does not read.
        """
        return self._steadily(lambda: self._columns(numbers, start_ns, end_ns))

    def read(self, numbers: Sequence[int], start_ns: int, end_ns: int) -> dict[int, Series]:
        """The samples with start ≤ source time < end, each tag sorted by time.

        Raises:
            StoredDataDamaged: naming the file that does not read.
        """
        return {n: c.series() for n, c in self.columns(numbers, start_ns, end_ns).items()}

    def blocks(
        self, numbers: Sequence[int], start_ns: int, end_ns: int, step_ns: int
    ) -> Iterator[dict[int, Series]]:
        """The same piece by piece, so that no more than ``step_ns`` of it stands in memory."""
        for at in range(start_ns, end_ns, step_ns):
            yield self.read(numbers, at, min(at + step_ns, end_ns))

    def envelope(self, number: int, start_ns: int, end_ns: int, columns: int) -> Envelope:
        """First, minimum, maximum and last sample a pixel column, gaps kept.

        Row groups that lie in one pixel column and cannot hold any of the four are passed over unread.

        Raises:
            WrongInput: an empty window or fewer than one column.
        """

        def drawn() -> Envelope:
            files = [self._files.of(f) for f in self._entries(number, start_ns, end_ns)]
            return outline(files, number, start_ns, end_ns, columns)

        return self._steadily(drawn)

    def rollup(self, numbers: Sequence[int], start_ns: int, end_ns: int, interval_ns: int) -> Rollup:
        """Rows of rollups of some tags, from their samples, a row group at a time."""

        def roll() -> Rollup:
            parts = [
                rows
                for entry, tags in self._wanted(numbers, start_ns, end_ns)
                for rows in rolled(self._files.of(entry), tags, start_ns, end_ns, interval_ns)
            ]
            # A row group may have cut an interval.
            return united(joined(parts), interval_ns)

        return self._steadily(roll)

    def samples_of(self, number: int, start_ns: int, end_ns: int) -> int:
        """About how many samples of a tag the files hold that meet a window."""
        self.refresh()
        return sum(f.samples // len(f.tags) for f in self._entries(number, start_ns, end_ns))

    def latest(self, numbers: Sequence[int] | None = None) -> dict[int, Sample]:
        """The sample with the newest source time of each tag that has any."""
        return self._steadily(lambda: self._latest(self._by_tag if numbers is None else numbers))

    def frames(self, after: int = 0) -> Iterator[tuple[int, Frame]]:
        """The frames as they arrived, with their arrival numbers, from the one after ``after``.

        What a later frame overwrote or repeated is in the frame that brought it, and qualities are as they
        came.
        """
        while (first := self._steadily(partial(self._next_number, after))) is not None:
            last = first + _FRAMES_AT_ONCE - 1
            yield from self._steadily(partial(self._frames, first, last))
            after = last

    def frame_table(self, start_ns: int, end_ns: int) -> FrameTable:
        """The frames that the samples of a window came in, what was replaced since among them."""
        return self._steadily(lambda: self._frame_table(start_ns, end_ns))

    def modified(self, number: int, start_ns: int, end_ns: int) -> list[Modified]:
        """What later writes of a tag replaced in a window."""
        return self._steadily(lambda: self._modified(number, start_ns, end_ns))

    def span(self) -> tuple[int, int] | None:
        """Source time of the first and the last sample; None when there is none."""
        self.refresh()
        files = self.manifest.files()
        if not files:
            return None
        return min(f.first_ns for f in files), max(f.last_ns for f in files)

    def close(self) -> None:
        """Let go of the files."""
        self._files.clear()

    def _frame_table(self, start_ns: int, end_ns: int) -> FrameTable:
        tables = []
        for segment in self.manifest.between(start_ns, end_ns):
            tables += [self._files.of(f).frames() for f in segment.of_kind(Kind.FRAMES)]
            tables += [self._files.of(f).audit()[1] for f in segment.of_kind(Kind.AUDIT)]
        return FrameTable.union(tables)

    def _modified(self, number: int, start_ns: int, end_ns: int) -> list[Modified]:
        found: list[Modified] = []
        for segment in self.manifest.between(start_ns, end_ns):
            for entry in segment.of_kind(Kind.AUDIT):
                audit, _ = self._files.of(entry).audit()
                frames = self._frame_table(segment.start_ns, segment.end_ns)
                found.extend(audit.modified(number, start_ns, end_ns, frames))
        return found

    def _next_number(self, after: int) -> int | None:
        return next_number(self.manifest, after)

    def _frames(self, first: int, last: int) -> list[tuple[int, Frame]]:
        return frames_between(self._files, self.manifest, first, last)

    def _columns(self, numbers: Sequence[int], start_ns: int, end_ns: int) -> dict[int, Columns]:
        parts: dict[int, list[Columns]] = defaultdict(list)
        for entry, tags in self._wanted(numbers, start_ns, end_ns):
            for part in self._files.of(entry).read(tags, start_ns, end_ns):
                parts[int(part.tag[0])].append(part)
        return {number: Columns.joined(parts.get(number, [])) for number in numbers}

    def _wanted(
        self, numbers: Sequence[int], start_ns: int, end_ns: int
    ) -> list[tuple[FileEntry, list[int]]]:
        """The files to be read for some tags, in order of time, with which of the tags each holds."""
        wanted: dict[str, tuple[FileEntry, list[int]]] = {}
        for number in numbers:
            for entry in self._entries(number, start_ns, end_ns):
                wanted.setdefault(entry.path, (entry, []))[1].append(number)
        return sorted(wanted.values(), key=lambda w: w[0].first_ns)

    def _entries(self, number: int, start_ns: int, end_ns: int) -> list[FileEntry]:
        """The files that may hold samples of the tag in the window, in order of time."""
        found = self._by_tag.get(number)
        if found is None:
            return []
        low = bisect_left(found, start_ns, key=lambda f: f.last_ns)
        high = bisect_left(found, end_ns, lo=low, key=lambda f: f.first_ns)
        return found[low:high]

    def _latest(self, numbers: Sequence[int] | dict[int, list[FileEntry]]) -> dict[int, Sample]:
        found: dict[int, Sample] = {}
        for segment in reversed(self.manifest.segments):
            left = [n for n in numbers if n not in found]
            held = [f for f in segment.of_kind(Kind.WIDE, Kind.LONG) if not set(left).isdisjoint(f.tags)]
            if not held:
                continue
            frames = self._files.of(segment.of_kind(Kind.FRAMES)[0]).frames()
            for entry in held:
                file = self._files.of(entry)
                for part in file.newest([n for n in left if n in entry.tags]):
                    arrival_ns = int(frames.arrival_ns[frames.places(part.seq[-1:])[0]])
                    found[int(part.tag[-1])] = Sample(
                        int(part.time_ns[-1]), float(part.value[-1]), int(part.quality[-1]), arrival_ns
                    )
        return found

    def _steadily(self, ask: Callable[[], _T]) -> _T:
        """Ask; when a file has gone meanwhile, the manifest has changed: look at it and ask again."""
        for _ in range(_TRIES):
            self.refresh()
            generation = self.manifest.generation
            try:
                return ask()
            except FileNotFoundError as error:
                if self.refresh().generation == generation:
                    raise StoredDataDamaged(
                        f"{error.filename or self._root}: a segment's file is missing; "
                        "the others are readable. Run `meltledger doctor`"
                    ) from error
        raise StoredDataDamaged(f"{self._root}: the list of segments changes faster than it can be read")


def _by_tag(manifest: Manifest) -> dict[int, list[FileEntry]]:
    """The files that hold each tag, in order of time: segments do not overlap, and each has a tag once."""
    files: dict[int, list[FileEntry]] = defaultdict(list)
    for segment in manifest.segments:
        for entry in segment.of_kind(Kind.WIDE, Kind.LONG):
            for tag in entry.tags:
                files[tag].append(entry)
    return dict(files)
