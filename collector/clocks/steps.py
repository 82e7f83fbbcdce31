"""When a source's clock was set: steps seen from how its time runs against arrival.

A step backwards shows in a tag's own times and is found by whoever holds them; a clock that is far off is
brought to where it belongs before (``collector.clocks.source``). Here are the small steps forward.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from collector.clocks.arrival import STEP_NS
from historian.event import Event
from historian.frame import NS

_REMEMBERED = 120  # batches; about a minute
_ENOUGH = 3  # batches before a step can be told from a slow start


class ClockWatch:
    """Watches the newest source time of each batch against its arrival.

    A slow network only makes samples late. So a step forward is one beyond the least delay of the last
    minute.

    Attributes:
        batches: how many were seen.
        lag_ns: arrival less newest source time of the last one.
    """

    def __init__(self) -> None:
        self.batches = self.lag_ns = 0
        self._offsets_ns: deque[int] = deque(maxlen=_REMEMBERED)

    def batch(self, newest_ns: int, arrival_ns: int) -> int:
        """By how much the clock stepped forward before a batch, nanoseconds; 0 when it did not.

        Args:
            newest_ns: newest source time in the batch.
            arrival_ns: of the batch.
        """
        offset_ns = newest_ns - arrival_ns
        self.batches, self.lag_ns = self.batches + 1, -offset_ns
        step_ns = 0
        newest = list(self._offsets_ns)[-_ENOUGH:]
        # What waited somewhere comes faster than it was sent: less and less late, and no step.
        if len(newest) == _ENOUGH and max(newest) - min(newest) <= STEP_NS:
            step_ns = max(0, offset_ns - max(self._offsets_ns))
            step_ns = step_ns if step_ns > STEP_NS else 0
        if step_ns:
            self._offsets_ns.clear()
        self._offsets_ns.append(offset_ns)
        return step_ns

    def stepped_back(self) -> None:
        """Forget what was learnt: the clock went back."""
        self._offsets_ns.clear()


@dataclass(frozen=True, slots=True)
class Step:
    """A step of a source's clock.

    Attributes:
        source: whose.
        step_ns: by how much; negative when it went back.
        path: the tag at which it was seen; empty when at none alone.
        epoch: the clock epoch that begins with it.
    """

    source: str
    step_ns: int
    path: str
    epoch: int

    def told(self, arrival_ns: int, *, by_wall: bool) -> Event:
        """The event of it.

        Args:
            by_wall: whether the source's clock is to show the time of day.
        """
        seen = f", seen at {self.path}" if self.path else ""
        way = "forward" if self.step_ns > 0 else "back"
        remedy = "set the machine's clock or its time server" if by_wall else "none if it was restarted"
        return Event(
            arrival_ns,
            self.source,
            "clock-stepped",
            f"The clock of source {self.source} went {abs(self.step_ns) / NS:.1f} s {way}{seen}; "
            f"samples go on in clock epoch {self.epoch}. Remedy: {remedy}.",
            {"step_s": self.step_ns / NS, "tag": self.path, "clock_epoch": self.epoch},
        )
