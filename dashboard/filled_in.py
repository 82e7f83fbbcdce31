"""Notices samples that were filled in behind what was read: after an outage, or history that came later."""

from __future__ import annotations

from historian.frame import NS
from historian.store import Store

OLD_NS = 600 * NS
"""Samples this much older than their arrival belong to a stretch that has been read already."""

SETTLE_NS = 3 * NS
"""Filling in is over, for now, when nothing old came for so long."""


class FilledIn:
    """Follows a store's arrivals; a line whose own clock is far from the edge's counts as filled in once."""

    def __init__(self) -> None:
        self._after: int | None = None
        self._newest_ns = 0
        self._old_came_ns: int | None = None

    def settled(self, store: Store, now_ns: int) -> bool:
        """Whether old samples came since the last time that this was true, and no more are coming."""
        if self._after is None:
            self._after = store.last_number()
        for number, frame in store.frames(self._after):
            self._after = number
            if len(frame):
                if int(frame.time_ns.min()) < self._newest_ns - OLD_NS:
                    self._old_came_ns = now_ns
                self._newest_ns = max(self._newest_ns, int(frame.time_ns.max()))
        if self._old_came_ns is None or now_ns - self._old_came_ns < SETTLE_NS:
            return False
        self._old_came_ns = None
        return True
