"""What a writer does now and then: seals what is closed, rolls it up, lets go of what has had its time."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

from historian.archive.disk import Disk, HostDisk
from historian.archive.manifest import DAY_NS, HOUR_NS, NAME
from historian.archive.reader import ArchiveReader
from historian.archive.writer import ArchiveWriter
from historian.clocks.trusted import JUMP_NS
from historian.embedded.newest import Newest
from historian.embedded.recent import Recent
from historian.embedded.spare import LEAST_BYTES, Spare
from historian.embedded.tag_list import NAME as TAGS
from historian.embedded.tag_list import TagList, load_tags
from historian.errors import StoredDataDamaged, StoreFull, WrongInput
from historian.frame import NS, Frame
from historian.memory import give_back
from historian.retention import Keep, RetentionPlan, Window, plan_retention
from historian.rollups.writer import RollupWriter, publish, reader_of
from historian.tags import Tag

GRACE_NS: Final = 120 * NS
"""How long after its end an hour is sealed: what comes later is merged into it at the next sealing."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What one step did.

    Attributes:
        frames: how many were sealed.
        days: made of hours.
        rollups: files that were written.
        gone: what retention let go of.
    """

    frames: int
    days: int
    rollups: int
    gone: RetentionPlan


class Upkeep:
    """Seals, rolls up and lets go in the folder of an embedded store.

    Runs in the process that appends, on a thread of its own, or alone: it has its own connection. Each step
    is whole on disk before the next begins, so a stop in between leaves more than was asked, never less.
    """

    def __init__(self, folder: Path, recent: Recent, archive: ArchiveWriter, keep: Keep, disk: Disk) -> None:
        self._folder = folder
        self._recent = recent
        self._archive = archive
        self._keep = keep
        self._disk = disk
        self._rollups = RollupWriter.open(folder / "rollups", disk)
        self._spare = Spare(folder, disk)

    @classmethod
    def open(cls, folder: Path, line: str, keep: Keep, *, disk: Disk | None = None) -> Self:
        """Open the folder of a store that a writer has made.

        Raises:
            WrongInput, StoreReadOnly, StoreFull, StoredDataDamaged: naming the file and the remedy.
        """
        path = folder / "recent.db"
        if not path.exists():
            # A new one would give arrival numbers a second time.
            if (folder / "archive" / NAME).exists():
                raise StoredDataDamaged(
                    f"{path}: missing, though an archive is there; run `meltledger doctor`"
                )
            raise WrongInput(f"{path}: there is no store here yet")
        disk = disk or HostDisk()
        archive = ArchiveWriter.open(folder / "archive", line, disk=disk)
        recent = Recent.open(path, write=True)
        try:
            return cls(folder, recent, archive, keep, disk)
        except BaseException:
            recent.close()
            raise

    def step(self, now_ns: int, held: Sequence[Window] = (), *, seal_all: bool = False) -> Kept:
        """Do what is due.

        Args:
            now_ns: the edge's clock, UTC nanoseconds.
            held: windows [start, end) to be kept whatever their age, such as the trial under way.
            seal_all: seal what is in the store now, closed or not: at the end of an import.

        Raises:
            StoreFull, StoreReadOnly: what was not done yet is done at the next call. On a full disk, what
                has had its time goes all the same, so that the next call may have room.
        """
        try:
            kept = self._do(now_ns, held, seal_all=seal_all)
        except StoreFull:
            with suppress(StoreFull):
                self._make_room(now_ns, held)
            raise
        finally:
            give_back()
        self._spare.keep(self._spare_bytes())
        return kept

    def forget(self, windows: Sequence[Window], now_ns: int) -> int:
        """Delete the samples of some windows for good: raw, replaced, rolled up; gives how many raw ones.

        Whole or to be done again: after a stop in between, the same call deletes the rest.

        Args:
            now_ns: the edge's clock, UTC nanoseconds.

        Raises:
            WrongInput: samples of a window are not sealed yet, so that they cannot be deleted one by one.
            StoreFull, StoreReadOnly: naming the folder.
        """
        tags = self._tags()
        self._list(tags)
        self._seal(now_ns, tags, seal_all=False)
        if any(self._recent.spans(a, b) for a, b in windows):
            raise WrongInput(
                f"{self._recent.path}: holds samples of that time which are not sealed yet; an hour is "
                "sealed two minutes after its end: try again then"
            )
        paths = {number: tag.path for number, tag in tags.items()}
        gone = self._rollups.gone(self._archive.manifest.segments)
        count = self._archive.cut(windows, tags)
        self._rollups.cut(windows, paths)
        self._rollups.bring_up(
            self._archive.manifest.segments, reader_of(self._folder / "archive"), paths, gone
        )
        self._recent.scrub(self._newest().without(windows).to_bytes())
        give_back()
        return count

    def close(self) -> None:
        """Let go of the files."""
        self._recent.close()

    def _do(self, now_ns: int, held: Sequence[Window], *, seal_all: bool) -> Kept:
        tags = self._tags()
        self._list(tags)
        gone = self._rollups.gone(self._archive.manifest.segments)
        frames = self._seal(now_ns, tags, seal_all=seal_all)
        days = self._archive.compact(tags, before_ns=(now_ns - GRACE_NS) // DAY_NS * DAY_NS)
        segments = self._archive.manifest.segments
        paths = {number: tag.path for number, tag in tags.items()}
        rolled = self._rollups.bring_up(segments, reader_of(self._folder / "archive"), paths, gone)
        plan = self._plan(now_ns, held)
        self._let_go(plan)
        return Kept(frames, days, rolled, plan)

    def _make_room(self, now_ns: int, held: Sequence[Window]) -> None:
        """Let go of what is due, though the rest of the step could not be done."""
        plan = self._plan(now_ns, held)
        if plan.segments or plan.rollups:
            self._spare.spend()
            self._let_go(plan)

    def _spare_bytes(self) -> int:
        """Room enough to write the lists once more."""
        listed = self._folder / "archive" / NAME
        return max(LEAST_BYTES, 4 * listed.stat().st_size)

    def _tags(self) -> dict[int, Tag]:
        return {
            number: Tag.from_json(json.loads(body), id=number) for number, body in self._recent.tag_rows()
        }

    def _list(self, tags: dict[int, Tag]) -> None:
        """Write changed tags down beside the store, before a segment holds their numbers."""
        wanted = TagList(self._archive.manifest.line, tags)
        try:
            listed = load_tags(self._folder)
        except StoredDataDamaged:
            listed = None
        if listed != wanted:
            publish(self._disk, self._folder / TAGS, wanted.to_bytes())

    def _seal(self, now_ns: int, tags: dict[int, Tag], *, seal_all: bool) -> int:
        """Take the frames of closed hours into the archive, then out of recent.db; gives how many."""
        newest_ns = self._recent.newest_arrival_ns()
        if newest_ns > now_ns + JUMP_NS:
            # Arrival went on where a clock that was ahead had brought it; the hours close by it.
            now_ns = newest_ns
        hour_end_ns = (now_ns - GRACE_NS) // HOUR_NS * HOUR_NS
        last = self._recent.last_seq() if seal_all else self._recent.last_before(hour_end_ns + GRACE_NS)
        before = self._archive.manifest.sealed_seq
        if last > before:
            self._archive.seal(self._frames(before, last), tags, up_to_seq=last)
        sealed = self._archive.manifest.sealed_seq
        newest = self._newest()
        if sealed > newest.seq or self._recent.sealed_seq() < sealed:
            self._recent.let_go(sealed, self._followed(newest, sealed).to_bytes())
        return sealed - before

    def _frames(self, after: int, last: int) -> Iterator[tuple[int, Frame]]:
        while rows := self._recent.rows_after(after):
            for row in rows:
                for number, frame in row.frames():
                    if after < number <= last:
                        yield number, frame
            after = rows[-1].seq
            if after >= last:
                return

    def _newest(self) -> Newest:
        seq, body = self._recent.newest()
        if body is None:
            return Newest()
        return Newest.from_bytes(seq, body, where=str(self._recent.path))

    def _followed(self, newest: Newest, sealed: int) -> Newest:
        """The newest samples up to what is sealed; from the archive where the rows are not all there.

        They have been let go of already, or a power cut took commits that were not synced.
        """
        for number, frame in self._frames(newest.seq, sealed):
            if number != newest.seq + 1:
                break
            newest.take(number, frame)
        if newest.seq == sealed:
            return newest
        found = ArchiveReader(self._folder / "archive").latest()
        for number in self._tags():
            # Retention may have let go of it in the archive.
            known = newest.sample(number)
            if known is not None and (number not in found or found[number].time_ns < known.time_ns):
                found[number] = known
        return Newest.of(sealed, found)

    def _plan(self, now_ns: int, held: Sequence[Window]) -> RetentionPlan:
        segments = self._archive.manifest.segments
        newest_ns = max((f.last_ns for s in segments for f in s.files), default=now_ns)
        return plan_retention(
            segments, self._rollups.reader.listed, self._keep, now_ns=now_ns, newest_ns=newest_ns, held=held
        )

    def _let_go(self, plan: RetentionPlan) -> None:
        if plan.segments:
            self._archive.drop(plan.segments)
        if plan.rollups:
            self._rollups.drop(plan.rollups)
