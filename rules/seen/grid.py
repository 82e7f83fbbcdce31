"""Signals on a fixed time grid, so that what is seen does not depend on how samples were cut into blocks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from historian.quality import is_bad
from historian.tags import Tag
from rules.block import Block, Places, Rows

_NEVER = np.iinfo(np.int64).min // 2
_SENSELESS = 1e12
_FOREVER = np.iinfo(np.int64).max


class _Samples(NamedTuple):
    """Samples of several tags, sorted by column and time; a bad one's value is NaN. Arrays of shape (n,)."""

    column: NDArray[np.int64]
    time_ns: NDArray[np.int64]
    value: NDArray[np.float64]

    def chosen(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> _Samples:
        return _Samples(self.column[which], self.time_ns[which], self.value[which])


class Grid:
    """The last value of each tag at every whole step of source time; NaN where it is bad or not known.

    A grid point is given once a sample later than it has come, so it does not matter in which block the
    samples before it came. A tag's samples older than its newest one are passed over.

    A measured value is held for ``hold_s``. A value that stands by its kind (a set-point, a state) is held
    until the next one, but not over a pause of more than ``hold_s`` in which no tag of the grid had a sample:
    it may have changed meanwhile. Such a pause gives one grid point without values and no more.

    Args:
        paths: the tags, in the order of the columns.
        tags: every tag of the line by path.
        step_s: the grid's step, seconds.
        hold_s: see above; the edge repeats an unchanged value every 60 s.

    Attributes:
        sampled_ns: source time of the sample that each value given last was taken from, shape (m, columns).
    """

    def __init__(
        self, paths: Sequence[str], tags: Mapping[str, Tag], step_s: float = 1.0, hold_s: float = 90.0
    ) -> None:
        self.paths = tuple(paths)
        self._places = Places({p: i for i, p in enumerate(self.paths)})
        self._step_ns, self._hold_ns = int(step_s * NS), int(hold_s * NS)
        self._longest_ns = np.asarray([_FOREVER if tags[p].holds else self._hold_ns for p in self.paths])
        self._time = np.full(len(self.paths), _NEVER, dtype=np.int64)
        self._value = np.full(len(self.paths), np.nan)
        self._newest = _NEVER  # source time of the newest sample of all
        self._stretch = _NEVER  # source time since which there was no pause
        self._done = _NEVER  # the last grid point that was given
        self.sampled_ns = np.empty((0, len(self.paths)), dtype=np.int64)

    def rows(self, block: Block) -> Rows:
        """The grid points that became certain with this block."""
        new = self._new_samples(block)
        later = np.unique(new.time_ns[new.time_ns > self._newest])
        if len(later) == 0:
            self._take(new)
            self.sampled_ns = self.sampled_ns[:0]
            return Rows(np.empty(0, np.int64), np.empty((0, len(self.paths))))
        if self._newest == _NEVER:
            self._done = (int(later[0]) - 1) // self._step_ns * self._step_ns
            self._stretch = int(later[0])
        else:
            later = np.concatenate(([self._newest], later))
        points = self._points(later)
        given = self._values(new, points, later)
        self._take(new)
        pauses = np.flatnonzero(later[1:] - later[:-1] > self._hold_ns)
        if len(pauses):
            self._stretch = int(later[pauses[-1] + 1])
        self._newest = int(later[-1])
        if len(points):
            self._done = int(points[-1])
        return Rows(points, given)

    def _new_samples(self, block: Block) -> _Samples:
        """The block's samples of these tags that are newer than those before."""
        column = np.repeat(self._places.of(block.names), np.diff(block.start))
        # What no machine shows (infinite, or beyond all sense) is not known: squares of it would overflow.
        known = ~is_bad(block.quality) & (np.abs(block.value) < _SENSELESS)
        value = np.where(known, block.value, np.nan)
        samples = _Samples(column, block.time_ns, value)
        mine = (column >= 0) & (block.time_ns > self._time[column])
        if not mine.all():
            samples = samples.chosen(mine)
        if bool((samples.column[1:] >= samples.column[:-1]).all()):
            return samples
        order = np.argsort(samples.column, kind="stable")
        return samples.chosen(order)

    def _take(self, new: _Samples) -> None:
        # Samples are sorted by column and time, and of equal places the last one written stays.
        self._time[new.column] = new.time_ns
        self._value[new.column] = new.value

    def _values(
        self, new: _Samples, points: NDArray[np.int64], later: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """Each column's value at the points, shape (points, columns)."""
        # A sample counts from the first point at or after it; with the column that makes a sorted key.
        wide = len(points) + 1
        key = new.column * wide + np.searchsorted(points, new.time_ns, side="left")
        wanted = np.arange(len(self.paths)) * wide + np.arange(len(points))[:, None]
        last = np.searchsorted(key, wanted, side="right") - 1
        at = np.maximum(last, 0)
        fresh = (last >= 0) & (key[at] >= wanted // wide * wide)
        value = np.where(fresh, new.value[at], self._value)
        time_ns = np.where(fresh, new.time_ns[at], self._time)
        self.sampled_ns = time_ns
        begins = np.concatenate(([self._stretch], later[1:][later[1:] - later[:-1] > self._hold_ns]))
        stretch = begins[np.searchsorted(begins[1:], points, side="right")]
        newest = later[np.searchsorted(later, points, side="right") - 1]
        too_old = points[:, None] - time_ns > self._longest_ns
        value[too_old | (time_ns < stretch[:, None]) | (points - newest > self._hold_ns)[:, None]] = np.nan
        return value

    def _points(self, time_ns: NDArray[np.int64]) -> NDArray[np.int64]:
        """Grid points after the last given one and before the newest row, without the long pauses."""
        step = self._step_ns
        reach = self._hold_ns + step  # the first point in a pause is given, to say that nothing is known
        breaks = np.flatnonzero(time_ns[1:] - time_ns[:-1] > reach)
        parts = []
        for a, b in zip([0, *(breaks + 1)], [*breaks, len(time_ns) - 1], strict=True):
            first = max(-(-int(time_ns[a]) // step) * step, self._done + step)
            last = int(time_ns[b])
            stop = last if b == len(time_ns) - 1 else min(last + reach + 1, int(time_ns[b + 1]))
            parts.append(np.arange(first, stop, step, dtype=np.int64))
        return np.concatenate(parts)

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "time": self._time.tolist(),
            "value": numbers(self._value),
            "newest": self._newest,
            "stretch": self._stretch,
            "done": self._done,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._time = np.asarray(state["time"], dtype=np.int64)
        self._value = array(state["value"])
        self._newest, self._stretch, self._done = state["newest"], state["stretch"], state["done"]


def numbers(values: NDArray[np.float64]) -> list[float | None]:
    """An array of one dimension as JSON numbers, NaN as null."""
    return [None if np.isnan(v) else float(v) for v in values]


def array(values: Sequence[float | None]) -> NDArray[np.float64]:
    """What ``numbers`` wrote."""
    return np.asarray([np.nan if v is None else v for v in values], dtype=np.float64)
