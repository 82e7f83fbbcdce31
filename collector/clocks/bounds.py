"""Which times of a batch cannot be true, and which of its tags went back; pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from collector.clocks.stamps import Stamps
from collector.clocks.wrong import BEHIND_NS, FUTURE_NS, OLD_NS
from historian.clocks.trusted import MADE_NS
from historian.frame import TagIds, Times
from historian.quality import Mask


@dataclass(frozen=True, slots=True)
class Bounds:
    """Where the times of a source may lie at one moment.

    Attributes:
        now_ns: what the time is, as far as the edge can tell.
        shift_ns: what is added to the source's times.
        begun_ns: the stored time at which its clock epoch began; None where it began before this run.
    """

    now_ns: int
    shift_ns: int
    begun_ns: int | None

    def impossible(self, stamps: Stamps) -> Mask:
        """Which samples cannot be true, not even late; shape (n,)."""
        at_ns = stamps.time_ns + self.shift_ns
        old = np.where(stamps.running, at_ns < self.now_ns - OLD_NS, False) | (at_ns < MADE_NS)
        if self.begun_ns is not None and self.shift_ns:
            old |= at_ns < self.begun_ns
        found: Mask = (at_ns > self.now_ns + FUTURE_NS) | old
        return found

    def is_impossible(self, time_ns: int) -> bool:
        """Whether the time of a running sample cannot be true, not even late."""
        at_ns = time_ns + self.shift_ns
        before = self.begun_ns is not None and self.shift_ns != 0 and at_ns < self.begun_ns
        return at_ns > self.now_ns + FUTURE_NS or at_ns < max(self.now_ns - OLD_NS, MADE_NS) or before

    def is_old(self, time_ns: int) -> bool:
        """Whether it lies further back than a delay explains."""
        return time_ns + self.shift_ns < self.now_ns - BEHIND_NS

    def gone_back(self, stamps: Stamps, known_ns: Callable[[TagIds], Times]) -> set[int]:
        """Tags that went back by more than a delay explains, while something goes on.

        A tag's own samples come in order.

        Args:
            known_ns: gives the newest stored time of each of these tags.
        """
        stamps = stamps.chosen(stamps.running)
        old = stamps.time_ns + self.shift_ns < self.now_ns - BEHIND_NS
        if not old.any() or old.all():
            return set()
        stored_ns = zip(stamps.tag.tolist(), known_ns(stamps.tag).tolist(), strict=True)
        newest_ns = {tag: at_ns - self.shift_ns for tag, at_ns in stored_ns}
        back: set[int] = set()
        for tag, time_ns in zip(stamps.tag.tolist(), stamps.time_ns.tolist(), strict=True):
            if self.is_old(time_ns) and newest_ns[tag] > time_ns + BEHIND_NS:
                back.add(tag)
            newest_ns[tag] = max(newest_ns[tag], time_ns)
        return back
