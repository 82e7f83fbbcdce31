"""How long alarms waited for somebody, stood, and were kept from sight."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from historian.frame import NS
from rules.review.history import AlarmHistory
from rules.review.spells import Spell, Window, total_s, within


@dataclass(frozen=True, slots=True)
class Durations:
    """A distribution of durations.

    Attributes:
        count: how many ended and are in it.
        open: how many did not end, or not at a known time; they are not in the distribution.
        median_s, p95_s: seconds, linear between neighbours; None where there is none.
    """

    count: int
    open: int
    median_s: float | None
    p95_s: float | None

    @classmethod
    def of(cls, spells: Iterable[Spell]) -> Durations:
        """The distribution of the spells' lengths.

        Example:
            >>> Durations.of([Spell(0, 4 * 10**9), Spell(0, 6 * 10**9), Spell(0, None)])
            Durations(count=2, open=1, median_s=5.0, p95_s=5.9)
        """
        every = list(spells)
        ended = [(s.end_ns - s.start_ns) / NS for s in every if s.end_ns is not None and s.end_known]
        if not ended:
            return cls(0, len(every), None, None)
        median, p95 = np.percentile(ended, [50, 95])
        return cls(len(ended), len(every) - len(ended), float(median), float(p95))


def to_acknowledge(some: Sequence[AlarmHistory], window: Window) -> Durations:
    """From the announcement until somebody saw it; what was put aside unseen counts as not acknowledged."""
    waits = [s for h in some for s in h.waits if s.start_ns in window]
    aside = [Spell(s.start_ns, None) for h in some for s in h.put_aside if s.start_ns in window]
    return Durations.of([*waits, *aside])


def to_return(some: Sequence[AlarmHistory], window: Window) -> Durations:
    """From the announcement until the condition was gone; of what nobody was told of, nothing."""
    told = [{a.time_ns for a in h.announced if a.came} for h in some]
    return Durations.of(
        s
        for h, times in zip(some, told, strict=True)
        for s in h.active
        if s.start_ns in window and s.start_ns in times
    )


@dataclass(frozen=True, slots=True)
class Hidden:
    """How long alarms were kept from sight in one way.

    Attributes:
        alarms: how many different ones.
        times: how often.
        total_s: alarm by alarm added up, within the window.
        longest_s: the longest time of one, within the window.
    """

    alarms: int
    times: int
    total_s: float
    longest_s: float


def hidden(some: Sequence[AlarmHistory], way: str, window: Window) -> Hidden:
    """How long the alarms were shelved, suppressed or out of service."""
    parts = [within(h.hidden[way], window) for h in some]
    spells = [s for p in parts for s in p]
    longest = max((s.until(window.end_ns) - s.start_ns for s in spells), default=0) / NS
    return Hidden(sum(1 for p in parts if p), len(spells), total_s(spells, window), longest)
