"""How much a signal jumps from second to second: broad unrest, which a slow wave hardly shows."""

from __future__ import annotations

from collections import deque
from math import nan, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray


class Jitter:
    """Root mean square of the steps between seconds, and the mean, over the last tens of seconds.

    Args:
        tens: how many tens of seconds are looked back over.
    """

    def __init__(self, tens: int) -> None:
        self._kept: deque[tuple[float, int, float, int]] = deque(maxlen=tens)

    def push(self, value: NDArray[np.float64]) -> None:
        """Take ten seconds, shape (k,); NaN where not known."""
        steps = np.diff(value)
        steps, value = steps[~np.isnan(steps)], value[~np.isnan(value)]
        self._kept.append((float(np.sum(steps * steps)), len(steps), float(value.sum()), len(value)))

    def forget(self) -> None:
        """Begin anew."""
        self._kept.clear()

    @property
    def _full(self) -> bool:
        return len(self._kept) == self._kept.maxlen

    @property
    def step(self) -> float:
        """Root mean square of the steps; NaN before the time is full."""
        count = sum(k[1] for k in self._kept)
        return sqrt(sum(k[0] for k in self._kept) / count) if self._full and count else nan

    @property
    def mean(self) -> float:
        """The mean; NaN before the time is full."""
        count = sum(k[3] for k in self._kept)
        return sum(k[2] for k in self._kept) / count if self._full and count else nan

    def save(self) -> list[list[float]]:
        """The state as JSON types."""
        return [list(k) for k in self._kept]

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self._kept.clear()
        self._kept.extend((k[0], int(k[1]), k[2], int(k[3])) for k in state)
