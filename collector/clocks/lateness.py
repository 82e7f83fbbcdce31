"""Whether a source that is far behind is late or has a wrong clock; pure.

What waited in a buffer or at a broker comes faster than it was sent, and ends at now. A wrong clock goes on
as fast as time does and stays where it is. A slow network can only make samples later.
"""

from __future__ import annotations

from enum import Enum, auto
from typing import Final

from historian.frame import NS

HOLD_NS: Final = 20 * NS
"""So long samples are kept waiting for a verdict; then they are stored as they are."""

_SURE_NS: Final = 10 * NS
_SURE_BATCHES: Final = 3
_CAUGHT_UP_NS: Final = 5 * NS  # beyond the unrest of batches
_STEADY_NS: Final = 3 * NS // 2


class Verdict(Enum):
    """What a source that is far behind is."""

    WAIT = auto()  # nobody can tell yet
    LATE = auto()  # its samples are true
    WRONG = auto()  # its clock is behind


class Lateness:
    """Watches one source that is far behind, from the first batch that is.

    Args:
        newest_ns: newest source time of that batch.
        now_ns: when it came.
    """

    def __init__(self, newest_ns: int, now_ns: int) -> None:
        self._first_ns = self._newest_ns = newest_ns
        self._since_ns = now_ns
        self._batches = 0
        self._caught_up = False

    def look(self, newest_ns: int | None, now_ns: int) -> Verdict:
        """The verdict, after a further batch or none.

        Args:
            newest_ns: newest source time of the batch; None when nothing came.
        """
        elapsed_ns = now_ns - self._since_ns
        if newest_ns is not None and newest_ns > self._newest_ns:
            self._newest_ns = newest_ns
            self._batches += 1
            gained_ns = newest_ns - self._first_ns - elapsed_ns
            self._caught_up = self._caught_up or gained_ns > _CAUGHT_UP_NS
            steady = abs(gained_ns) <= _STEADY_NS
            if steady and not self._caught_up and self._batches >= _SURE_BATCHES and elapsed_ns >= _SURE_NS:
                return Verdict.WRONG
        if self._caught_up or elapsed_ns >= HOLD_NS:
            return Verdict.LATE
        return Verdict.WAIT
