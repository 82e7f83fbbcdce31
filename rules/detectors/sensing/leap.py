"""Whether a melt temperature has leapt: melt warms and cools with the steel around it, a sensor need not."""

from __future__ import annotations

from collections import deque
from math import isnan
from typing import Any

_WINDOWS = 3  # before, the one in which it leaps, and after


class Leap:
    """Follows one temperature, ten seconds after ten seconds, while melt runs evenly.

    Args:
        leap_k: how far within half a minute is a leap, once it stays there; back within half of it is over.

    Attributes:
        before_cel: what it showed before the leap that stands; None: none does.
    """

    def __init__(self, leap_k: float) -> None:
        self._leap_k = leap_k
        self._last: deque[float] = deque(maxlen=_WINDOWS)
        self.before_cel: float | None = None

    def judge(self, cel: float | None) -> int:
        """Take the next mean; None: it could not be judged.

        Returns:
            1 when it has leapt, -1 when it is back, else 0.
        """
        if cel is None or isnan(cel):
            self._last.clear()
            return 0
        if self.before_cel is not None:
            if abs(cel - self.before_cel) >= self._leap_k / 2:
                return 0
            self.before_cel = None
            self._last.clear()
            return -1
        full = len(self._last) == _WINDOWS
        first, stays = self._last[0] if full else cel, full and abs(cel - self._last[-1]) < self._leap_k / 2
        self._last.append(cel)
        if not stays or abs(cel - first) <= self._leap_k:
            return 0
        self.before_cel = first
        return 1

    def save(self) -> list[Any]:
        """The state as JSON types."""
        return [list(self._last), self.before_cel]

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self._last.clear()
        self._last.extend(state[0])
        self.before_cel = state[1]
