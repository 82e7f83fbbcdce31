"""How long ago the filter was cleaned, on lines whose wiper stops between cleanings."""

from __future__ import annotations

from math import inf
from typing import Any

from historian.frame import NS

NEVER_STOPS_S = 180.0
"""A wiper that has turned for so long turns always: what it does is no cleaning that must be waited for.
common practice, no source."""


class Wiping:
    """Follows the wiper, ten seconds after ten seconds.

    Attributes:
        wiped_s: since it last moved, 0 while it moves; inf: never, or it never stops.
    """

    def __init__(self) -> None:
        self.wiped_s = inf
        self._since_ns: int | None = None  # since when it has been moving
        self._last_ns: int | None = None  # when it last moved

    def push(self, time_ns: int, *, moves: bool) -> None:
        """Take the next ten seconds, which end at that time."""
        self._since_ns = (self._since_ns if self._since_ns is not None else time_ns) if moves else None
        if self._since_ns is not None:
            endless = time_ns - self._since_ns > NEVER_STOPS_S * NS
            self._last_ns = None if endless else time_ns
        self.wiped_s = inf if self._last_ns is None else (time_ns - self._last_ns) / NS

    def save(self) -> list[Any]:
        """The state as JSON types (infinity as null)."""
        return [None if self.wiped_s == inf else self.wiped_s, self._since_ns, self._last_ns]

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self.wiped_s = inf if state[0] is None else state[0]
        self._since_ns, self._last_ns = state[1], state[2]
