"""What is usual: median and scatter of the last steady quarter of an hour."""

from __future__ import annotations

from collections import deque
from math import isnan, nan
from statistics import median
from typing import Any

_SIGMA = 1.4826  # of a normal distribution, in median absolute deviations


class Baseline:
    """Learns one value from steady running only: the rule decides what it hands over.

    Args:
        points: how many of the last ones are kept.
        least: fewer do not make a baseline.
    """

    def __init__(self, points: int = 90, least: int = 90) -> None:
        self._kept: deque[float] = deque(maxlen=points)
        self._least = least
        self._known: tuple[float, float] | None = None

    def learn(self, value: float) -> None:
        """Take one more; NaN is passed over."""
        if not isnan(value):
            self._kept.append(float(value))
            self._known = None

    def forget(self) -> None:
        """Begin anew: another material, another screen."""
        self._kept.clear()
        self._known = None

    @property
    def median(self) -> float:
        """The usual value; NaN before it is known."""
        return self._summary()[0]

    @property
    def sigma(self) -> float:
        """Its scatter as a standard deviation, from the median absolute deviation; NaN before it is known."""
        return self._summary()[1]

    def _summary(self) -> tuple[float, float]:
        if len(self._kept) < self._least:
            return nan, nan
        if self._known is None:
            middle = median(self._kept)
            self._known = middle, _SIGMA * median(abs(v - middle) for v in self._kept)
        return self._known

    def save(self) -> list[float]:
        """The state as JSON types."""
        return list(self._kept)

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self.forget()
        self._kept.extend(state)
