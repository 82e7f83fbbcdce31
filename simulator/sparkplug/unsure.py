"""Samples that a host may not have got: kept over an outage, and for as long as one may go unnoticed."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from simulator.published import Sample


class Unsure:
    """A bounded memory of what was published lately or could not be published.

    Sparkplug data travel without acknowledgement, and a broker that vanishes is noticed only when it does not
    answer: what was sent in that time may be lost, so it counts as missed too.

    Args:
        limit: samples kept at most; beyond it the oldest are lost.
        window_s: how long an outage may go unnoticed.

    Attributes:
        lost: samples lost so far because of the limit.
    """

    def __init__(self, *, limit: int, window_s: float) -> None:
        self.lost = 0
        self._limit = limit
        self._window_s = window_s
        self._kept: deque[tuple[float, Sequence[Sample]]] = deque()
        self._n = 0

    def __len__(self) -> int:
        return self._n

    def keep(self, samples: Sequence[Sample], now_s: float) -> None:
        """Keep what was published now, or should have been."""
        if not samples:
            return
        self._kept.append((now_s, samples))
        self._n += len(samples)
        while self._n > self._limit:
            self.lost += self._drop()

    def forget(self, now_s: float) -> None:
        """The connection has stood the whole time: what is older than the window has arrived."""
        while self._kept and self._kept[0][0] < now_s - self._window_s:
            self._drop()

    def take(self) -> list[Sample]:
        """All of it, in the order in which it was kept; nothing is kept any more."""
        samples = [sample for _, some in self._kept for sample in some]
        self._kept.clear()
        self._n = 0
        return samples

    def _drop(self) -> int:
        n = len(self._kept.popleft()[1])
        self._n -= n
        return n
