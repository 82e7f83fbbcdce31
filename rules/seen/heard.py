"""Which sources were heard throughout ten seconds: a value that is only held shows nothing of what goes on.

A heater's current is 0 in the off part of its switching period. Held, it would look like an open circuit.
A tag may be sent on change only, so what counts is how often its source sent anything. Age would not do: a
clock that is a few seconds slow makes every sample old.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import Times
from historian.tags import Tag

_LEAST = 4
"""Seconds of ten in which a source sent something: one that samples every two seconds has five, less what got
lost."""
_NEVER = np.iinfo(np.int64).min


class Heard:
    """Counts the seconds in which each source sent something."""

    def __init__(self, paths: Sequence[str], tags: Mapping[str, Tag]) -> None:
        sources = sorted({tags[p].source for p in paths})
        number = {s: n for n, s in enumerate(sources)}
        self._source = np.asarray([number[tags[p].source] for p in paths], dtype=np.intp)
        self._order = np.argsort(self._source, kind="stable")
        self._starts = np.searchsorted(self._source[self._order], np.arange(len(sources)))
        self._time: Times = np.asarray([_NEVER], dtype=np.int64)
        self._newest = np.full(len(sources), _NEVER, dtype=np.int64)
        self._count = np.zeros((1, len(sources)), dtype=np.int64)  # up to each time
        self._before = np.zeros(len(sources), dtype=np.int64)  # when last asked

    def note(self, time_ns: Times, sampled_ns: NDArray[np.int64]) -> None:
        """Take the grid's points and from when their values are, shapes (m,) and (m, columns)."""
        if len(time_ns) == 0 or len(self._order) == 0:
            return
        newest = np.maximum.reduceat(sampled_ns[:, self._order], self._starts, axis=1)
        moved = np.diff(newest, axis=0, prepend=self._newest[None, :]) != 0
        last = self._count[-1:]
        self._newest = newest[-1]
        self._time = np.concatenate((self._time[-1:], time_ns))
        self._count = np.concatenate((last, last + np.cumsum(moved, axis=0)))

    def columns(self, time_ns: int) -> NDArray[np.bool_]:
        """Which columns' sources were heard in the ten seconds that end at that point; asked once of each."""
        at = max(int(np.searchsorted(self._time, time_ns, side="right")) - 1, 0)
        heard: NDArray[np.bool_] = (self._count[at] - self._before >= _LEAST)[self._source]
        self._before = self._count[at]
        return heard

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {
            "time": self._time.tolist(),
            "newest": self._newest.tolist(),
            "count": self._count.tolist(),
            "before": self._before.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._time = np.asarray(state["time"], dtype=np.int64)
        self._newest = np.asarray(state["newest"], dtype=np.int64)
        self._count = np.asarray(state["count"], dtype=np.int64).reshape(len(self._time), len(self._newest))
        self._before = np.asarray(state["before"], dtype=np.int64)
