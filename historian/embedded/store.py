"""The embedded store: a folder on this host that keeps a line's samples, no server needed."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Final, Literal

import numpy as np

from historian.aggregates import Aggregate, AggregateConfig, AggregateRow, aggregate_series
from historian.archive.columns import Columns, FrameTable, merge, modified_of
from historian.archive.manifest import NAME
from historian.archive.reader import ArchiveReader
from historian.embedded.long_view import LongView
from historian.embedded.newest import Newest
from historian.embedded.recent import Recent, Synchronous
from historian.embedded.rows import Row
from historian.embedded.unsealed import beside, by_tag, unsealed
from historian.envelope import Envelope, envelope_of
from historian.errors import StoredDataDamaged
from historian.frame import NS, Frame, Series
from historian.piecewise import piecewise, reaching
from historian.quality import is_bad
from historian.registry import numbered, unknown
from historian.rollups.columns import Rollup
from historian.rollups.files import RollupReader
from historian.store import STANDARD, Modified, Sample
from historian.tags import Tag

_FOLD_EVERY_NS: Final = 60 * NS
LOOK_BACK_NS: Final = 900 * NS
"""How far before a window its bounds are looked for; the edge repeats an unchanged value every minute."""


class EmbeddedStore:
    """Keeps a line's samples in a folder; see ``historian.store.Store`` for what it answers.

    ``FOLDER/recent.db`` takes what arrives, ``FOLDER/archive`` holds what was sealed, ``FOLDER/rollups`` what
    was rolled up; ``historian.embedded.upkeep`` moves samples from the one to the other meanwhile. One
    process opens the folder for writing; any number read at the same time. Not for several threads at once.
    """

    def __init__(self, folder: Path, recent: Recent, *, writes: bool) -> None:
        self._recent = recent
        self._archive = ArchiveReader(folder / "archive")
        self._long = LongView(self._archive, RollupReader(folder / "rollups"), recent)
        self._writes = writes
        self._tags: dict[str, Tag] = {}
        self._newest: Newest | None = None
        self._folded_ns = 0
        self._load_tags()
        if writes:
            recent.go_on_after(self._archive.manifest.sealed_seq)

    @classmethod
    def open(
        cls, folder: Path, *, mode: Literal["write", "read"] = "write", synchronous: Synchronous = "full"
    ) -> EmbeddedStore:
        """Open the folder; a writer makes it where it is missing.

        Args:
            synchronous: ``normal`` may lose the last commits in a power cut, never older ones.

        Raises:
            WrongInput, StoreReadOnly, StoreFull, StoredDataDamaged: naming the file and the remedy.
        """
        path = folder / "recent.db"
        if not path.exists() and (folder / "archive" / NAME).exists():
            raise StoredDataDamaged(
                f"{path}: missing, though an archive is there; nothing was changed. "
                "Copy the folder away, then run `meltledger doctor`"
            )
        recent = Recent.open(path, write=mode == "write", synchronous=synchronous)
        try:
            return cls(folder, recent, writes=mode == "write")
        except BaseException:
            recent.close()
            raise

    def register(self, tags: Iterable[Tag]) -> dict[str, Tag]:
        """Make the tags known and give them their numbers; a known path keeps its number."""
        self._load_tags()
        changed = numbered(self._tags, tags)
        if changed:
            rows = [(t.id, p, json.dumps(t.to_json(), ensure_ascii=False)) for p, t in changed.items()]
            self._recent.put_tags(rows)
            self._tags = {**self._tags, **changed}
        return dict(self._tags)

    def append(self, *frames: Frame) -> int:
        """Keep the frames, all or none; on return they are on disk."""
        if not frames:
            return self.last_number()
        seq = self._recent.append(frames)
        arrival_ns = frames[-1].arrival_ns
        if self._folded_ns == 0:
            self._folded_ns = arrival_ns
        if arrival_ns - self._folded_ns >= _FOLD_EVERY_NS:
            self._folded_ns = arrival_ns
            self._recent.fold(arrival_ns - 10 * NS)
        return seq

    def tags(self) -> dict[str, Tag]:
        """Every tag of the line by path."""
        if not self._writes:
            self._load_tags()
        return dict(self._tags)

    def read(
        self, paths: Sequence[str], start_ns: int, end_ns: int, *, bound_before: bool = False
    ) -> dict[str, Series]:
        """The samples with start ≤ source time < end, each tag sorted by time."""
        numbers = {path: self._tag(path).id for path in paths}
        found = self._samples(list(numbers.values()), start_ns, end_ns)
        if bound_before:
            before = self._samples(list(numbers.values()), start_ns - LOOK_BACK_NS, start_ns)
            found = {n: Columns.joined([before[n].where(slice(-1, None)), c]) for n, c in found.items()}
        return {path: found[number].series() for path, number in numbers.items()}

    def blocks(
        self, paths: Sequence[str], start_ns: int, end_ns: int, *, samples: int = 500_000
    ) -> Iterator[dict[str, Series]]:
        """The same piece by piece in order of time, about so many samples at once, whatever the window."""
        return piecewise(self.read, paths, start_ns, end_ns, span=self.span(), samples=samples)

    def latest(self, paths: Sequence[str] | None = None) -> dict[str, Sample]:
        """The sample with the newest source time of each tag that has any."""
        newest = self._follow()
        chosen = self.tags() if paths is None else {p: self._tag(p) for p in paths}
        found = ((path, newest.sample(tag.id)) for path, tag in chosen.items())
        return {path: sample for path, sample in found if sample is not None}

    def modified(self, path: str, start_ns: int, end_ns: int) -> list[Modified]:
        """What later writes replaced in the window, by source time, then arrival."""
        number = self._tag(path).id
        rows, _ = self._rows(start_ns, end_ns)
        before = self._archive.modified(number, start_ns, end_ns)
        sealed = self._archive.columns([number], start_ns, end_ns)[number]
        wanted = np.array([number], dtype=np.int32)
        fresh, frames = unsealed(rows, wanted, start_ns, end_ns, after=self._archive.manifest.sealed_seq)
        frames = FrameTable.union([frames, self._archive.frame_table(start_ns, end_ns)])
        merged = merge(Columns.joined([sealed, fresh]), frames)
        found = [*before, *modified_of(merged.replaced, merged.replaced_by, frames)]
        return sorted(found, key=lambda m: (m.time_ns, m.arrival_ns))

    def aggregate(
        self,
        path: str,
        start_ns: int,
        end_ns: int,
        interval_ns: int,
        kind: Aggregate,
        *,
        config: AggregateConfig = STANDARD,
    ) -> list[AggregateRow]:
        """One row an interval, after OPC 10000-13, with the bounding samples however far away they are."""
        tag = self._tag(path)
        before = 2 if config.use_sloped_extrapolation else 1
        series = reaching(self.read, path, start_ns, end_ns, span=self.span(), before=before)
        return aggregate_series(series, start_ns, end_ns, interval_ns, kind, config=config, stepped=tag.holds)

    def rollup(self, paths: Sequence[str], start_ns: int, end_ns: int, interval_ns: int) -> Rollup:
        """Extremes, ends, mean and counts of every interval that holds a sample, by tag, as columns."""
        numbers = [self._tag(path).id for path in paths]
        return self._long.rollup(numbers, start_ns, end_ns, interval_ns, self._samples)

    def envelope(self, path: str, start_ns: int, end_ns: int, columns: int) -> Envelope:
        """First, minimum, maximum and last sample a pixel column, gaps kept."""
        number = self._tag(path).id
        rolled = self._long.envelope(number, start_ns, end_ns, columns, self._samples)
        return rolled or self._outline(number, start_ns, end_ns, columns)

    def frames(self, after: int = 0) -> Iterator[tuple[int, Frame]]:
        """The frames as they arrived, with their arrival numbers, from the one after ``after``."""
        while True:
            sealed = self._archive.refresh().sealed_seq
            if after < sealed:
                for number, frame in self._archive.frames(after):
                    after = number
                    yield number, frame
                after = max(after, sealed)
            rows = self._recent.rows_after(after)
            if (not rows or rows[0].first_seq > after + 1) and self._archive.refresh().sealed_seq > after:
                continue  # sealed and let go meanwhile
            if not rows:
                return
            for row in rows:
                for number, frame in row.frames():
                    if number > after:
                        yield number, frame
            after = rows[-1].seq

    def last_number(self) -> int:
        """Arrival number of the last frame; 0 when there is none."""
        return max(self._recent.last_seq(), self._archive.refresh().sealed_seq)

    def span(self) -> tuple[int, int] | None:
        """Source time of the first and the last sample; None when the store is empty."""
        spans = [s for s in (self._recent.span(), self._archive.span()) if s is not None]
        return (min(s[0] for s in spans), max(s[1] for s in spans)) if spans else None

    def close(self) -> None:
        """Let go of the files."""
        self._recent.close()
        self._archive.close()

    def _tag(self, path: str) -> Tag:
        tag = self._tags.get(path) or self.tags().get(path)
        if tag is None:
            raise unknown(path, self._tags, where=str(self._recent.path))
        return tag

    def _load_tags(self) -> None:
        rows = self._recent.tag_rows()
        if len(rows) != len(self._tags) or self._writes:
            tags = [Tag.from_json(json.loads(body), id=number) for number, body in rows]
            self._tags = {t.path: t for t in tags}

    def _rows(self, start_ns: int, end_ns: int) -> tuple[list[Row], int]:
        """The unsealed rows that meet a window, and up to which number the archive holds them.

        In this order: what is sealed and let go between the two is then in the archive.
        """
        rows = list(self._recent.rows_between(start_ns, end_ns))
        return rows, self._archive.refresh().sealed_seq

    def _samples(self, numbers: Sequence[int], start_ns: int, end_ns: int) -> dict[int, Columns]:
        """The samples of some tags with start ≤ source time < end, sealed or not, merged."""
        if end_ns <= start_ns:
            return {number: Columns.joined([]) for number in numbers}
        rows, _ = self._rows(start_ns, end_ns)
        sealed = self._archive.columns(numbers, start_ns, end_ns)
        wanted = np.array(sorted(set(numbers)), dtype=np.int32)
        after = self._archive.manifest.sealed_seq
        loose, frames = unsealed(rows, wanted, start_ns, end_ns, after=after)
        if len(loose) == 0:
            return sealed
        fresh = by_tag(merge(loose, frames).kept, wanted)
        found = {n: beside(sealed[n], fresh[n]) for n in fresh}
        crossed = np.array([n for n, c in found.items() if c is None], dtype=np.int32)
        if len(crossed):
            frames = FrameTable.union([frames, self._archive.frame_table(start_ns, end_ns)])
            both = [sealed[int(n)] for n in crossed]
            both.append(loose.where(np.isin(loose.tag, crossed)))
            found |= by_tag(merge(Columns.joined(both), frames).kept, crossed)
        return {n: c for n, c in found.items() if c is not None}

    def _outline(self, number: int, start_ns: int, end_ns: int, columns: int) -> Envelope:
        """From the samples themselves; what is sealed need not all be read."""
        wanted = np.array([number], dtype=np.int32)
        rows, after = self._rows(start_ns, end_ns)
        loose, frames = unsealed(rows, wanted, start_ns, end_ns, after=after)
        sealed = self._archive.envelope(number, start_ns, end_ns, columns)
        if len(loose) == 0:
            return sealed
        fresh = merge(loose, frames).kept
        met = self._archive.columns([number], int(fresh.time_ns[0]), end_ns)[number]
        # A late sample may part a run of bad ones, of which the outline keeps the first alone.
        parted = is_bad(met.quality) | np.isnan(met.value)
        doubled = np.isin(met.time_ns, fresh.time_ns)
        if self._archive.manifest.sealed_seq > after or parted.any() or doubled.any():
            series = self._samples([number], start_ns, end_ns)[number].series()
            return envelope_of(series, start_ns, end_ns, columns)
        # The outline of an outline and of the rest is the outline of both.
        both = Series(
            np.concatenate((sealed.time_ns, fresh.time_ns)),
            np.concatenate((sealed.value, fresh.value)),
            np.concatenate((sealed.quality, fresh.quality)),
        )
        order = np.argsort(both.time_ns, kind="stable")
        both = Series(both.time_ns[order], both.value[order], both.quality[order])
        found = envelope_of(both, start_ns, end_ns, columns)
        return Envelope(found.time_ns, found.value, found.quality, sealed.samples + len(fresh))

    def _follow(self) -> Newest:
        """The newest samples, with what arrived since the last look."""
        if self._newest is None:
            self._newest = self._first_newest()
        for seq, frame in self.frames(self._newest.seq):
            self._newest.take(seq, frame)
        return self._newest

    def _first_newest(self) -> Newest:
        seq, body = self._recent.newest()
        if body is not None:
            return Newest.from_bytes(seq, body, where=str(self._recent.path))
        sealed = self._archive.refresh().sealed_seq
        return Newest.of(sealed, self._archive.latest()) if sealed else Newest()
