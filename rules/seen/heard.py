"""Which sources were heard in ten seconds: a value that is only held shows nothing of what goes on.

A heater's current is 0 in the off part of its switching period. Held, it would look like an open circuit.
A tag may be sent on change only, so what counts is whether its source sent anything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Times
from historian.tags import Tag

_ADVANCE_NS = 5 * NS
"""A source was heard when its newest sample moved on by as much. Its age would not do: a clock that is a
few seconds slow makes every sample old."""
_LIVELY = 1 / 60
_MOSTLY = 0.5
_NEVER = np.iinfo(np.int64).min // 2


class Heard:
    """Follows each source's newest sample.

    A source that usually sends less often than every ten seconds counts as heard while its values are held.
    """

    def __init__(self, paths: Sequence[str], tags: Mapping[str, Tag]) -> None:
        sources = sorted({tags[p].source for p in paths})
        number = {s: n for n, s in enumerate(sources)}
        self._source = np.asarray([number[tags[p].source] for p in paths], dtype=np.intp)
        self._order = np.argsort(self._source, kind="stable")
        self._starts = np.searchsorted(self._source[self._order], np.arange(len(sources)))
        self._time: Times = np.asarray([_NEVER], dtype=np.int64)
        self._newest = np.full((1, len(sources)), _NEVER, dtype=np.int64)
        self._before = np.full(len(sources), _NEVER, dtype=np.int64)  # when last asked
        self._lively = np.ones(len(sources))  # share of tens of seconds in which it was heard

    def note(self, time_ns: Times, sampled_ns: NDArray[np.int64]) -> None:
        """Take the grid's points and from when their values are, shapes (m,) and (m, columns)."""
        if len(time_ns) and len(self._order):
            newest = np.maximum.reduceat(sampled_ns[:, self._order], self._starts, axis=1)
            self._time = np.concatenate((self._time[-1:], time_ns))
            self._newest = np.concatenate((self._newest[-1:], newest))

    def columns(self, time_ns: int) -> NDArray[np.bool_]:
        """Which columns' sources were heard in the ten seconds that end at that point; asked once of each."""
        at = max(int(np.searchsorted(self._time, time_ns, side="right")) - 1, 0)
        newest = self._newest[at]
        moved = (newest - self._before >= _ADVANCE_NS) & (self._before > _NEVER)
        held = time_ns - newest <= 90 * NS
        self._lively = np.where(held, self._lively + _LIVELY * (moved - self._lively), self._lively)
        self._before = np.maximum(newest, self._before)
        heard: NDArray[np.bool_] = (moved | (held & (self._lively < _MOSTLY)))[self._source]
        return heard

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {
            "time": self._time.tolist(),
            "newest": self._newest.tolist(),
            "before": self._before.tolist(),
            "lively": self._lively.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._time = np.asarray(state["time"], dtype=np.int64)
        self._newest = np.asarray(state["newest"], dtype=np.int64).reshape(len(self._time), -1)
        self._before = np.asarray(state["before"], dtype=np.int64)
        self._lively = np.asarray(state["lively"], dtype=np.float64)
