"""What had to be thrown away, so that it can be said and marked as a gap."""

from __future__ import annotations

import math
from collections.abc import Iterable

from historian.event import Event
from historian.quality import NO_DATA


class Dropped:
    """Counts dropped samples and keeps where each tag's gap begins.

    Attributes:
        samples: how many were dropped.
        first_ns, last_ns: oldest and newest source time among them.
    """

    def __init__(self) -> None:
        self.samples = 0
        self.first_ns = 2**62
        self.last_ns = -(2**62)
        self._since: dict[tuple[int, int], int] = {}

    def add(self, epoch: int, tag: int, time_ns: int) -> None:
        """One sample is gone."""
        self.samples += 1
        self.first_ns, self.last_ns = min(self.first_ns, time_ns), max(self.last_ns, time_ns)
        key = (epoch, tag)
        self._since[key] = min(time_ns, self._since.get(key, time_ns))

    def merge(self, other: Dropped) -> None:
        """What another one lost is lost here."""
        self.samples += other.samples
        self.first_ns, self.last_ns = min(self.first_ns, other.first_ns), max(self.last_ns, other.last_ns)
        for key, time_ns in other._since.items():
            self._since[key] = min(time_ns, self._since.get(key, time_ns))

    def epochs(self) -> list[int]:
        """The clock epochs that lost something, rising."""
        return sorted({epoch for epoch, _ in self._since})

    def marks(self, epoch: int) -> Iterable[tuple[int, int, float, int]]:
        """One sample without a value where each tag's gap begins: tag, time, NaN, BadNoData."""
        return [(tag, t, math.nan, NO_DATA) for (e, tag), t in self._since.items() if e == epoch]

    def event(self, now_ns: int, why: str) -> Event:
        """Says how much is missing, from when to when, and why."""
        return Event(
            now_ns,
            "edge",
            "samples-dropped",
            f"{self.samples} samples were dropped, the oldest first: {why}. "
            "The gap is marked as bad in the store.",
            {"samples": self.samples, "first_ns": self.first_ns, "last_ns": self.last_ns},
        )

    def __bool__(self) -> bool:
        return self.samples > 0
