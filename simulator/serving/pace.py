"""When each second of a served line is due, and what stops the serving."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import time
from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pace:
    """When each second is due: ``start_s`` was published at ``begun_s`` of the monotonic clock.

    Attributes:
        speed: seconds of the line a second.

    Example:
        >>> Pace(start_s=100, begun_s=5.0, speed=20.0).due_s(140)
        7.0
    """

    start_s: int
    begun_s: float
    speed: float

    def due_s(self, second: int) -> float:
        """Monotonic time at which that second is due."""
        return self.begun_s + (second - self.start_s) / self.speed


async def seconds_due(pace: Pace, stop: asyncio.Event, last_s: int | None) -> AsyncIterator[int]:
    """Each second after the start when it is due, up to the last one or the stop.

    A late second is made up for, so that the pace does not drift; even then others get their turn.
    """
    second = pace.start_s
    while not stop.is_set() and (last_s is None or second < last_s):
        second += 1
        due_in_s = pace.due_s(second) - time.monotonic()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), max(0.0, due_in_s))
        if stop.is_set():
            return
        yield second


@contextlib.contextmanager
def stopped_by_signal() -> Iterator[asyncio.Event]:
    """An event that SIGTERM and SIGINT set."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    try:
        yield stop
    finally:
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.remove_signal_handler(number)
