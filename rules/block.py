"""What a detector is fed: the samples that arrived within one whole second, by tag path."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Frame, Series, TagIds, Times
from historian.quality import is_bad

_T = TypeVar("_T", np.int64, np.float64, np.uint32)


class Names:
    """The tags' paths by number, for blocks that mostly hold the same tags one after the other."""

    _MOST = 256

    def __init__(self, paths: Mapping[int, str]) -> None:
        self._paths = paths
        self._known: dict[bytes, tuple[str, ...]] = {}

    def of(self, tag: TagIds) -> tuple[str, ...]:
        """The paths of tag numbers; an unknown one is empty."""
        key = tag.tobytes()
        found = self._known.get(key)
        if found is None:
            if len(self._known) >= self._MOST:
                self._known.clear()
            found = self._known[key] = tuple(self._paths.get(t, "") for t in tag.tolist())
        return found


class Places:
    """Where the tags of a block stand in somebody's own order of tags.

    Args:
        order: path → place.
    """

    _MOST = 256

    def __init__(self, order: Mapping[str, int]) -> None:
        self._order = order
        self._known: dict[tuple[str, ...], NDArray[np.intp]] = {}

    def of(self, names: tuple[str, ...]) -> NDArray[np.intp]:
        """The place of each name, shape (names,); -1 where it has none."""
        found = self._known.get(names)
        if found is None:
            if len(self._known) >= self._MOST:
                self._known.clear()
            places = [self._order.get(name, -1) for name in names]
            found = self._known[names] = np.asarray(places, dtype=np.intp)
        return found


class Block:
    """The samples of one whole second of arrival (late samples: of one lot), by tag path.

    A block may span many seconds of source time: after an outage, or when history is filled in.

    Attributes:
        names: the tags that have samples here.
        start: samples ``start[k]`` up to ``start[k + 1]`` are those of ``names[k]``, shape (names + 1,).
        time_ns, value, quality: of all samples, shape (n,); sorted by source time within a tag.
        arrival_ns: when they arrived, UTC nanoseconds.
        index: name → its number; made when first asked for.
    """

    __slots__ = ("arrival_ns", "index", "names", "quality", "start", "time_ns", "value")

    def __init__(self, series: Mapping[str, Series], arrival_ns: int) -> None:
        kept = {p: s for p, s in series.items() if len(s)}
        lengths = [len(s) for s in kept.values()]
        self.names = tuple(kept)
        self.start: NDArray[np.intp] = np.concatenate(([0], np.cumsum(lengths, dtype=np.intp)))
        empty = Series.empty()
        self.time_ns = np.concatenate([empty.time_ns, *(s.time_ns for s in kept.values())])
        self.value = np.concatenate([empty.value, *(s.value for s in kept.values())])
        self.quality = np.concatenate([empty.quality, *(s.quality for s in kept.values())])
        self.arrival_ns = arrival_ns
        self.index: dict[str, int] | None = None

    @classmethod
    def of(cls, frame: Frame, paths: Mapping[int, str] | Names) -> Block:
        """The frame's samples by path; samples of unknown tag numbers are passed over."""
        naming = paths if isinstance(paths, Names) else Names(paths)
        first = np.flatnonzero(np.diff(frame.tag, prepend=np.int32(-1)))
        names = naming.of(frame.tag[first])
        block = cls.__new__(cls)
        block.names, block.start = names, np.append(first, len(frame))
        block.time_ns, block.value, block.quality = frame.time_ns, frame.value, frame.quality
        block.arrival_ns, block.index = frame.arrival_ns, None
        return block.of_tags(np.asarray([bool(n) for n in names])) if "" in names else block

    def __len__(self) -> int:
        return len(self.time_ns)

    def last(self, column: NDArray[_T]) -> NDArray[_T]:
        """The last sample's entry of each tag, shape (names,), of one of the block's columns."""
        return column[self.start[1:] - 1]

    @property
    def each(self) -> NDArray[np.intp]:
        """Which of the names each sample belongs to, shape (n,)."""
        return np.repeat(np.arange(len(self.names)), np.diff(self.start))

    def of_tags(self, chosen: NDArray[np.bool_]) -> Block:
        """The block with the chosen ones of its tags only, shape (names,)."""
        return self.where(np.repeat(chosen, np.diff(self.start)))

    def where(self, kept: NDArray[np.bool_]) -> Block:
        """The block with the chosen samples only, shape (n,)."""
        counts = np.add.reduceat(kept, self.start[:-1], dtype=np.intp) if len(kept) else np.empty(0, np.intp)
        some = counts > 0
        block = Block.__new__(Block)
        block.names = tuple(n for n, one in zip(self.names, some.tolist(), strict=True) if one)
        block.start = np.concatenate(([0], np.cumsum(counts[some], dtype=np.intp)))
        block.time_ns, block.value, block.quality = self.time_ns[kept], self.value[kept], self.quality[kept]
        block.arrival_ns, block.index = self.arrival_ns, None
        return block

    def series(self, path: str) -> Series:
        """The samples of one tag, sorted by source time; empty where none came."""
        if self.index is None:
            self.index = {name: k for k, name in enumerate(self.names)}
        at = self.index.get(path)
        if at is None:
            return Series.empty()
        a, b = self.start[at], self.start[at + 1]
        return Series(self.time_ns[a:b], self.value[a:b], self.quality[a:b])

    def paths(self) -> list[str]:
        """The tags that have samples here."""
        return list(self.names)


@dataclass(frozen=True, slots=True)
class Rows:
    """Several tags on one time axis.

    Attributes:
        time_ns: every source time at which one of the tags has a sample, rising, shape (m,).
        value: each tag's last value at that time; NaN when bad, unknown or held too long, shape (m, tags).
    """

    time_ns: Times
    value: NDArray[np.float64]


class Held:
    """Lays several tags on one time axis, holding each one's last value between its samples.

    Holding goes on across blocks, so a tag that is sent only when it changes is known all the same.

    Args:
        paths: the tags, in the order of the columns of ``Rows.value``.
        hold_s: how long a value may be held, seconds of source time; the edge repeats an unchanged value
            every 60 s, so more than that means that it is no longer known.
    """

    def __init__(self, paths: Sequence[str], hold_s: float = 90.0) -> None:
        self.paths = tuple(paths)
        self._hold_ns = int(hold_s * NS)
        self._last_time = np.full(len(self.paths), np.iinfo(np.int64).min // 2, dtype=np.int64)
        self._last_value = np.full(len(self.paths), np.nan)

    def rows(self, block: Block) -> Rows:
        """The block's samples of these tags, one row a distinct source time."""
        series = [block.series(p) for p in self.paths]
        times = np.unique(np.concatenate([s.time_ns for s in series])) if series else np.empty(0, np.int64)
        value = np.empty((len(times), len(series)))
        if len(times) == 0:
            return Rows(times, value)
        for column, samples in enumerate(series):
            clean = np.where(is_bad(samples.quality), np.nan, samples.value)
            known_time = np.concatenate(([self._last_time[column]], samples.time_ns))
            known_value = np.concatenate(([self._last_value[column]], clean))
            at = np.searchsorted(samples.time_ns, times, side="right")
            held = known_value[at]
            held[times - known_time[at] > self._hold_ns] = np.nan
            value[:, column] = held
            self._last_time[column], self._last_value[column] = known_time[-1], known_value[-1]
        return Rows(times, value)

    def save(self) -> dict[str, Any]:
        """The held values as JSON types (NaN as null)."""
        return {
            "time": self._last_time.tolist(),
            "value": [None if np.isnan(v) else float(v) for v in self._last_value],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Hold what ``save`` gave."""
        self._last_time = np.asarray(state["time"], dtype=np.int64)
        self._last_value = np.asarray([np.nan if v is None else v for v in state["value"]], dtype=np.float64)
