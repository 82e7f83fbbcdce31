"""The edge's clock, the only place in the collector that reads one."""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """Tells the time."""

    def now_ns(self) -> int:
        """UTC nanoseconds since 1970."""
        ...


class WallClock:
    """This computer's clock."""

    def now_ns(self) -> int:
        """UTC nanoseconds since 1970."""
        return time.time_ns()
