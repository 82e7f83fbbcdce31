"""Whether the level of a signal has shifted: the two-sided cumulative sum (tabular CUSUM).

Source of the recursion: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from math import isnan
from statistics import median
from typing import Any

K, H = 0.5, 8.0
"""Slack and decision limit in standard deviations. common practice, no source: both."""

_SIGMA = 1.4826  # of a normal distribution, in median absolute deviations
_LEAST_SHARE = 0.5


class Cusum:
    """Cumulative sums of what lies above and below a target.

    Attributes:
        high, low: the sums, both at least 0, in the unit of what is pushed.
    """

    def __init__(self, slack: float = K) -> None:
        self._slack = slack
        self.high = self.low = 0.0

    def push(self, deviation: float) -> float:
        """Take the next deviation from the target; gives the larger sum. NaN is passed over.

        Example:
            >>> sums = Cusum(slack=1.0)
            >>> [sums.push(x) for x in (2.0, 3.0, -1.0)]
            [1.0, 3.0, 1.0]
        """
        if not isnan(deviation):
            self.high = max(0.0, self.high + deviation - self._slack)
            self.low = max(0.0, self.low - deviation - self._slack)
        return max(self.high, self.low)

    def begin_anew(self) -> None:
        """Both sums to 0."""
        self.high = self.low = 0.0


class LevelShift:
    """Compares what a signal does with its own last minutes.

    Args:
        points: how many of the last points are its usual level.
        share: how far it must have moved, relative to its usual level.
        limit: decision limit of the cumulative sum, in standard deviations.
    """

    def __init__(self, points: int = 120, share: float = 0.1, limit: float = H) -> None:
        self._usual: deque[float] = deque(maxlen=points)
        self._waiting: deque[float] = deque(maxlen=6)  # the newest minute does not judge itself
        self._share, self._limit = share, limit
        self._sums = Cusum()

    def push(self, value: float) -> bool:
        """Take the next point; gives whether the level has shifted, and begins anew if it has."""
        if isnan(value):
            return False
        self._waiting.append(value)
        if len(self._usual) < _LEAST_SHARE * (self._usual.maxlen or 0):
            self._usual.append(value)
            return False
        middle = median(self._usual)
        sigma = _SIGMA * median(abs(v - middle) for v in self._usual)
        z = (value - middle) / sigma if sigma > 0 else 0.0
        far = abs(median(self._waiting) - middle) > self._share * abs(middle)
        if self._sums.push(max(-self._limit, min(self._limit, z))) > self._limit and far:
            self.begin_anew()
            return True
        self._usual.append(value)
        return False

    def begin_anew(self) -> None:
        """Learn the usual level again: a set-point was changed, or the line stood."""
        self._usual.clear()
        self._waiting.clear()
        self._sums.begin_anew()

    def save(self) -> dict[str, Sequence[float]]:
        """The state as JSON types."""
        sums = [self._sums.high, self._sums.low]
        return {"usual": list(self._usual), "waiting": list(self._waiting), "sums": sums}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self.begin_anew()
        self._usual.extend(state["usual"])
        self._waiting.extend(state["waiting"])
        self._sums.high, self._sums.low = state["sums"]
