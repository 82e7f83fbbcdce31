"""The embedded store: a folder on this host that keeps a line's samples, no server needed."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from historian.aggregates import Aggregate, AggregateRow, aggregate_series
from historian.envelope import Envelope, envelope_of
from historian.errors import UnitMismatch, UnknownTag
from historian.frame import NS, Frame, Series
from historian.recent import Recent, Row
from historian.store import Sample
from historian.tags import Tag
from historian.units import conversion

_FOLD_EVERY_NS = 60 * NS
LOOK_BACK_NS = 900 * NS
"""How far before a window its bounds are looked for; the edge repeats an unchanged value every minute."""

_NEVER = np.iinfo(np.int64).min
_Numbers = NDArray[np.int32]


class EmbeddedStore:
    """Keeps a line's samples in ``FOLDER/recent.db``; see ``historian.store.Store`` for what it answers.

    One process opens it for writing; any number read at the same time. Not safe for several threads at once.
    """

    def __init__(self, recent: Recent, *, writes: bool) -> None:
        self._recent = recent
        self._writes = writes
        self._tags: dict[str, Tag] = {}
        self._newest = _Newest()
        self._latest_seq = 0
        self._folded_ns = 0
        self._load_tags()

    @classmethod
    def open(cls, folder: Path, *, mode: Literal["write", "read"] = "write") -> EmbeddedStore:
        """Open the folder; a writer makes it where it is missing.

        Raises:
            WrongInput, StoreReadOnly, StoreFull, StoredDataDamaged: naming the file and the remedy.
        """
        return cls(Recent.open(folder / "recent.db", write=mode == "write"), writes=mode == "write")

    def register(self, tags: Iterable[Tag]) -> dict[str, Tag]:
        """Make the tags known and give them their numbers; a known path keeps its number."""
        self._load_tags()
        rows: list[tuple[int, str, str]] = []
        known = dict(self._tags)
        number = max((t.id for t in known.values()), default=0)
        for tag in tags:
            old = known.get(tag.path)
            if old is not None and old.unit != tag.unit:
                conversion(tag.unit, old.unit)
                raise UnitMismatch(
                    f"tag {tag.path} is kept in {old.unit} and cannot change to {tag.unit}: "
                    f"the store would mix them. Map it to {old.unit}"
                )
            if old is not None and old == replace(tag, id=old.id):
                continue
            number += old is None
            known[tag.path] = replace(tag, id=old.id if old else number)
            rows.append((known[tag.path].id, tag.path, json.dumps(tag.to_json(), ensure_ascii=False)))
        if rows:
            self._recent.put_tags(rows)
            self._tags = known
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
        ids = {path: self._tag(path).id for path in paths}
        wanted = np.array(sorted(set(ids.values())), dtype=np.int32)
        found = _gather(self._recent.rows_between(start_ns, end_ns), wanted, start_ns, end_ns)
        if bound_before:
            self._put_bounds(found, wanted, start_ns)
        return {path: found[number] for path, number in ids.items()}

    def latest(self, paths: Sequence[str] | None = None) -> dict[str, Sample]:
        """The sample with the newest source time of each tag that has any."""
        self._follow()
        chosen = self.tags() if paths is None else {p: self._tag(p) for p in paths}
        found = ((path, self._newest.of(tag.id)) for path, tag in chosen.items())
        return {path: sample for path, sample in found if sample is not None}

    def aggregate(
        self, path: str, start_ns: int, end_ns: int, interval_ns: int, kind: Aggregate
    ) -> list[AggregateRow]:
        """One row an interval, after OPC 10000-13."""
        return aggregate_series(
            self.read([path], start_ns, end_ns)[path], start_ns, end_ns, interval_ns, kind
        )

    def envelope(self, path: str, start_ns: int, end_ns: int, columns: int) -> Envelope:
        """First, minimum, maximum and last sample a pixel column, gaps kept."""
        return envelope_of(self.read([path], start_ns, end_ns)[path], start_ns, end_ns, columns)

    def frames(self, after: int = 0) -> Iterator[tuple[int, Frame]]:
        """The frames as they arrived, with their arrival numbers, from the one after ``after``."""
        while rows := self._recent.rows_after(after):
            for row in rows:
                for number, frame in row.frames():
                    if number > after:
                        yield number, frame
            after = rows[-1].seq

    def last_number(self) -> int:
        """Arrival number of the last frame; 0 when there is none."""
        return self._recent.last_seq()

    def span(self) -> tuple[int, int] | None:
        """Source time of the first and the last sample; None when the store is empty."""
        return self._recent.span()

    def close(self) -> None:
        """Let go of the file."""
        self._recent.close()

    def _tag(self, path: str) -> Tag:
        tag = self._tags.get(path) or self.tags().get(path)
        if tag is None:
            near = difflib.get_close_matches(path, self._tags, n=1)
            hint = f"; the nearest known one is {near[0]}" if near else ""
            raise UnknownTag(f"{self._recent.path}: no tag '{path}' is kept here{hint}")
        return tag

    def _load_tags(self) -> None:
        rows = self._recent.tag_rows()
        if len(rows) != len(self._tags) or self._writes:
            tags = [Tag.from_json(json.loads(body), id=number) for number, body in rows]
            self._tags = {t.path: t for t in tags}

    def _follow(self) -> None:
        """Take what arrived since the last look into the newest samples."""
        for seq, frame in self.frames(self._latest_seq):
            self._latest_seq = seq
            self._newest.take(frame)

    def _put_bounds(self, found: dict[int, Series], wanted: _Numbers, start_ns: int) -> None:
        """Put each tag's last sample before the start in front of its series."""
        rows = self._recent.rows_between(start_ns - LOOK_BACK_NS, start_ns)
        before = _gather(rows, wanted, start_ns - LOOK_BACK_NS, start_ns)
        for number, old in before.items():
            if len(old):
                new = found[number]
                found[number] = Series(
                    np.append(old.time_ns[-1:], new.time_ns),
                    np.append(old.value[-1:], new.value),
                    np.append(old.quality[-1:], new.quality),
                )


class _Newest:
    """The newest sample of each tag, by tag number."""

    def __init__(self) -> None:
        self._time_ns = np.full(0, _NEVER, dtype=np.int64)
        self._value = np.full(0, np.nan)
        self._quality = np.full(0, 0, dtype=np.uint32)
        self._arrival_ns = np.full(0, 0, dtype=np.int64)

    def take(self, frame: Frame) -> None:
        if len(frame) == 0:
            return
        ends = np.flatnonzero(np.append(frame.tag[1:] != frame.tag[:-1], True))
        tag = frame.tag[ends]
        if tag[-1] >= len(self._time_ns):
            self._grow(int(tag[-1]) + 64)
        newer = frame.time_ns[ends] >= self._time_ns[tag]
        ends, tag = ends[newer], tag[newer]
        self._time_ns[tag] = frame.time_ns[ends]
        self._value[tag] = frame.value[ends]
        self._quality[tag] = frame.quality[ends]
        self._arrival_ns[tag] = frame.arrival_ns

    def of(self, number: int) -> Sample | None:
        if number >= len(self._time_ns) or self._time_ns[number] == _NEVER:
            return None
        return Sample(
            int(self._time_ns[number]),
            float(self._value[number]),
            int(self._quality[number]),
            int(self._arrival_ns[number]),
        )

    def _grow(self, size: int) -> None:
        more = size - len(self._time_ns)
        self._time_ns = np.append(self._time_ns, np.full(more, _NEVER, dtype=np.int64))
        self._value = np.append(self._value, np.full(more, np.nan))
        self._quality = np.append(self._quality, np.zeros(more, dtype=np.uint32))
        self._arrival_ns = np.append(self._arrival_ns, np.zeros(more, dtype=np.int64))


def _gather(rows: Iterable[Row], wanted: _Numbers, start_ns: int, end_ns: int) -> dict[int, Series]:
    """The samples of the wanted tags within the window, each tag sorted; the last write of a double stays."""
    parts: list[tuple[NDArray[Any], ...]] = []
    for row in rows:
        inside = np.isin(row.tag, wanted) & (row.time_ns >= start_ns) & (row.time_ns < end_ns)
        if inside.any():
            columns = (row.tag, row.time_ns, row.value, row.quality, row.clock_epoch())
            parts.append(tuple(column[inside] for column in columns))
    if not parts:
        return {int(n): Series.empty() for n in wanted}
    tag, time_ns, value, quality, epoch = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.lexsort((np.arange(len(tag)), epoch, time_ns, tag))
    tag, time_ns, value, quality, epoch = (c[order] for c in (tag, time_ns, value, quality, epoch))
    stays = np.ones(len(tag), dtype=np.bool_)
    stays[:-1] = (tag[1:] != tag[:-1]) | (time_ns[1:] != time_ns[:-1]) | (epoch[1:] != epoch[:-1])
    tag, time_ns, value, quality = tag[stays], time_ns[stays], value[stays], quality[stays]
    low = np.searchsorted(tag, wanted, side="left")
    high = np.searchsorted(tag, wanted, side="right")
    return {
        int(n): Series.of(time_ns[a:b], value[a:b], quality[a:b])
        for n, a, b in zip(wanted, low, high, strict=True)
    }
