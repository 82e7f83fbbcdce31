"""How one source's samples come in: how late they are, and how long it was away."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

from historian.frame import NS

WINDOW_NS: Final = 60 * NS

NOTICED_NS: Final = 10 * NS
"""A loss is noticed within this time, so a gap begins at most so long before it was."""


@dataclass(frozen=True, slots=True)
class FlowNow:
    """What a flow shows at one moment; the lags are of the last minute, None when nothing new came in it.

    Attributes:
        gaps: how often the source was lost.
        gap_ns: how long it was lost in all, up to now; from its last batch of samples to its return.
        lag_ns: arrival less source time of the newest sample.
        worst_lag_ns, least_lag_ns: the same over the last minute.
    """

    gaps: int = 0
    gap_ns: int = 0
    lag_ns: int | None = None
    worst_lag_ns: int | None = None
    least_lag_ns: int | None = None


class Flow:
    """One source's batches and losses, in order of arrival."""

    def __init__(self) -> None:
        self._gaps = self._gap_ns = 0
        self._was_there = False
        self._heard_ns = 0
        self._lost_ns: int | None = None
        self._lags: deque[tuple[int, int]] = deque()

    def batch(self, lag_ns: int, arrival_ns: int) -> None:
        """A batch of live samples arrived.

        Args:
            lag_ns: arrival less the newest source time in it.
        """
        self._heard_ns = arrival_ns
        self._lags.append((arrival_ns, lag_ns))

    def stands(self, connected: bool, arrival_ns: int) -> None:
        """Whether the source is connected at an arrival time; before the first time nothing is a gap."""
        if connected:
            self._was_there = True
            if self._lost_ns is not None:
                self._gap_ns += max(0, arrival_ns - self._lost_ns)
                self._lost_ns = None
        elif self._was_there and self._lost_ns is None:
            self._gaps += 1
            self._lost_ns = max(self._heard_ns, arrival_ns - NOTICED_NS)

    def now(self, arrival_ns: int) -> FlowNow:
        """What it shows at an arrival time."""
        while self._lags and self._lags[0][0] < arrival_ns - WINDOW_NS:
            self._lags.popleft()
        lags = [lag for _, lag in self._lags]
        lasting_ns = 0 if self._lost_ns is None else max(0, arrival_ns - self._lost_ns)
        return FlowNow(
            self._gaps,
            self._gap_ns + lasting_ns,
            lags[-1] if lags else None,
            max(lags, default=None),
            min(lags, default=None),
        )
