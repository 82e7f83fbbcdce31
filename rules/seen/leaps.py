"""Keeps a source whose clock has leapt ahead from carrying the line's grid with it.

Nothing arrives before it was taken. A source that stamps its samples later than they arrive has a wrong
clock, as long as another source of the line does not do the same: then all count time of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from historian.frame import NS
from historian.tags import Tag
from rules.block import Block, Places

AHEAD_NS = 30 * NS
"""A clock that is ahead by less is judged by a rule of its own, and its samples are looked at."""


class Leaps:
    """Leaves out what a source stamps far ahead of its arrival."""

    def __init__(self, tags: Mapping[str, Tag]) -> None:
        self._source = {p: t.source for p, t in tags.items() if t.source and not p.startswith("edge.")}
        self._sources = sorted(set(self._source.values()))
        order = {name: n for n, name in enumerate(self._sources)}
        self._places = Places({p: order[s] for p, s in self._source.items()})
        self._ahead: dict[str, bool] = {}

    def without(self, block: Block) -> Block:
        """The block without samples from the future of a single source."""
        limit_ns = block.arrival_ns + AHEAD_NS
        source, ahead = self._places.of(block.names), block.last(block.time_ns) > limit_ns
        for place in np.unique(source[source >= 0]).tolist():
            self._ahead[self._sources[place]] = bool(ahead[source == place].any())
        if not ahead[source >= 0].any() or all(self._ahead.values()):
            return block
        return block.where((block.time_ns <= limit_ns) | np.repeat(source < 0, np.diff(block.start)))

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return dict(self._ahead)

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._ahead = dict(state)
