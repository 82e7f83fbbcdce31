"""Keeps a source whose clock has leapt ahead from carrying the line's grid with it.

Nothing arrives before it was taken. A source that stamps its samples later than they arrive has a wrong
clock, as long as another source of the line does not do the same: then all count time of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from historian.frame import NS, Series
from historian.tags import Tag
from rules.block import Block

AHEAD_NS = 30 * NS
"""A clock that is ahead by less is judged by a rule of its own, and its samples are looked at."""

_NEVER = np.iinfo(np.int64).min


class Leaps:
    """Leaves out what a source stamps far ahead of its arrival."""

    def __init__(self, tags: Mapping[str, Tag]) -> None:
        self._source = {p: t.source for p, t in tags.items() if t.source and not p.startswith("edge.")}
        self._ahead: dict[str, bool] = {}

    def without(self, block: Block) -> Block:
        """The block without samples from the future of a single source."""
        latest: dict[str, int] = {}
        for path in block.paths():
            source = self._source.get(path)
            if source is not None:
                latest[source] = max(latest.get(source, _NEVER), int(block.series(path).time_ns[-1]))
        limit_ns = block.arrival_ns + AHEAD_NS
        for source, time_ns in latest.items():
            self._ahead[source] = time_ns > limit_ns
        if not any(self._ahead.get(s, False) for s in latest) or all(self._ahead.values()):
            return block
        return Block(
            {p: s for p in block.paths() if len(s := _until(block.series(p), limit_ns))}, block.arrival_ns
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return dict(self._ahead)

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._ahead = dict(state)


def _until(series: Series, limit_ns: int) -> Series:
    if int(series.time_ns[-1]) <= limit_ns:
        return series
    kept = series.time_ns <= limit_ns
    return Series(series.time_ns[kept], series.value[kept], series.quality[kept])
