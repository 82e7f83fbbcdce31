"""What is said when a clock epoch of a source begins: what is wrong, with which clock, what to do; pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from collector.clocks.wrong import MS, changed_zone
from historian.event import Event
from historian.frame import NS


@dataclass(frozen=True, slots=True)
class Which:
    """What is known of the edge's own clock when a source's seems wrong.

    Attributes:
        doubt: why it is not believed; empty when it is.
        alone: tells whether there is nothing beside it and the one source.
        asks: tells whether other sources are still waited for, to say which of the two is wrong.
    """

    doubt: str = ""
    alone: Callable[[], bool] = bool  # gives False
    asks: Callable[[], bool] = bool

    def sentence(self) -> str:
        """Which of the clocks is wrong, where that is not plain; ends with a space."""
        if self.doubt:
            return f"This computer's own clock may be the wrong one: {self.doubt}. "
        if self.alone():
            return (
                "With one source nobody can tell which of the two clocks is wrong: this computer's counts. "
            )
        return ""


NO_DOUBT: Final = Which()


@dataclass(frozen=True, slots=True)
class Begun:
    """A clock epoch that begins.

    Attributes:
        source: whose.
        fault: what is wrong with its clock, one clause; empty when it is right again.
        from_ns: the stored time from which it counts.
        shift_ns: what is added to its stamps from there on.
        before_ns: what was added before.
        offset_ns: by how much the clock is ahead; negative when behind.
    """

    source: str
    fault: str
    from_ns: int
    shift_ns: int
    before_ns: int
    offset_ns: int

    def told(self, now_ns: int, which: Which) -> Event:
        """The event of it."""
        shift_ms = self.shift_ns // MS
        data = {
            "shift_ms": shift_ms,
            "from_ns": self.from_ns,
            "offset_s": self.offset_ns / NS,
            "which": "edge" if which.doubt else "source",
        }
        if not self.fault:
            text = f"The clock of source {self.source} is right again; its samples keep their own times."
            return Event(now_ns, self.source, "clock-right", text, data)
        summer = ", as at the change of summer time" if changed_zone(-self.before_ns, self.offset_ns) else ""
        text = (
            f"Source {self.source}: {self.fault}{summer}. {which.sentence()}Its samples are kept under their "
            f"arrival time; what it stamped is the stored time less {shift_ms} ms. "
            "Remedy: set the machine's clock or its time server, or this computer's if that is wrong."
        )
        return Event(now_ns, self.source, "clock-wrong", text, data)
