"""What is usual of a few signals together: medians over the last quarter of an hour of sound running."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from math import isnan, nan
from statistics import median
from typing import Any

_REFRESHED = 6  # tens of seconds: once a minute is often enough


def ratio(value: float, usual: float) -> float:
    """A value against what is usual; NaN where one of them is not known, or nothing is usual.

    Example:
        >>> ratio(3.0, 4.0), ratio(3.0, 0.0)
        (0.75, nan)
    """
    return value / usual if usual > 0 else nan


class Usual:
    """Learns from sound, settled running only: the rule decides what it hands over.

    Args:
        names: of the signals, as the rule calls them.
        points: how many of the last ones are kept.
        least: fewer are not yet usual.
    """

    def __init__(self, names: Sequence[str], points: int = 90, least: int = 30) -> None:
        self._names = tuple(names)
        self._kept: deque[tuple[float, ...]] = deque(maxlen=points)
        self._least = least
        self._since = 0  # points since the medians were taken
        self._median = [nan] * len(self._names)

    def learn(self, values: Sequence[float]) -> None:
        """Take one more of each; one that is not known is passed over."""
        self._kept.append(tuple(float(v) for v in values))
        self._since += 1
        if len(self._kept) < self._least or (self._known and self._since < _REFRESHED):
            return
        self._since = 0
        for n, column in enumerate(zip(*self._kept, strict=True)):
            known = [v for v in column if not isnan(v)]
            self._median[n] = median(known) if len(known) >= self._least // 2 else nan

    @property
    def _known(self) -> bool:
        return not all(isnan(v) for v in self._median)

    def forget(self) -> None:
        """Begin anew."""
        self._kept.clear()
        self._since = 0
        self._median = [nan] * len(self._names)

    def __getitem__(self, name: str) -> float:
        return self._median[self._names.index(name)]

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        kept = [[None if isnan(v) else v for v in row] for row in self._kept]
        return {
            "kept": kept,
            "since": self._since,
            "median": [None if isnan(v) else v for v in self._median],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._kept.clear()
        self._kept.extend(tuple(nan if v is None else v for v in row) for row in state["kept"])
        self._since = state["since"]
        self._median = [nan if v is None else v for v in state["median"]]
