"""Alarm floods: when more alarms came than one person can follow, and for how long.

Source: ISA-18.2 and EEMUA 191, from memory: a flood starts at 10 or more in 10 min and ends when a 10-min
count falls below 5. The standards mix "10 or more" (start of a flood) and "more than 10" (table of shares);
both numbers are parameters: "more than 10" is ``start_at_least=11``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from historian.frame import Times
from rules.review.rates import TEN_MIN_NS, Counts
from rules.review.spells import Spell


@dataclass(frozen=True, slots=True)
class FloodRule:
    """When a flood starts and ends.

    Attributes:
        start_at_least: a count from here on starts one.
        end_below: a count below this ends it.
        length_ns: of the window that is counted in.
    """

    start_at_least: int = 10
    end_below: int = 5
    length_ns: int = TEN_MIN_NS


STANDARD = FloodRule()


@dataclass(frozen=True, slots=True)
class Flood:
    """One flood.

    Attributes:
        start_ns, end_ns: UTC nanoseconds.
        alarms: how many came in it.
        in_first_window: how many of these in its first ten minutes.
    """

    start_ns: int
    end_ns: int
    alarms: int
    in_first_window: int

    @property
    def spell(self) -> Spell:
        """Its time."""
        return Spell(self.start_ns, self.end_ns)


def floods_by_clock(times: Times, counts: Counts, rule: FloodRule = STANDARD) -> list[Flood]:
    """The floods in windows of the clock: from the start of the first full window to that of the first calm
    one.

    A window that was not recorded ends a flood: nothing is known of it.

    Args:
        times: of the alarms, rising, shape (n,).
        counts: the windows, each ``rule.length_ns`` long.
    """
    found: list[Flood] = []
    start_ns: int | None = None
    last_end_ns = 0
    for a, b, n in zip(counts.start_ns.tolist(), counts.end_ns.tolist(), counts.count.tolist(), strict=True):
        if start_ns is not None and (n < rule.end_below or a != last_end_ns):
            found.append(_flood(times, start_ns, last_end_ns, rule))
            start_ns = None
        if start_ns is None and n >= rule.start_at_least:
            start_ns = a
        last_end_ns = b
    if start_ns is not None:
        found.append(_flood(times, start_ns, last_end_ns, rule))
    return found


def floods_sliding(times: Times, rule: FloodRule = STANDARD) -> list[Flood]:
    """The floods by the count of the last ten minutes, at every instant.

    A flood starts with the alarm that makes the count full, and ends when the count falls below the limit.
    """
    arrivals, leavings = times, times + rule.length_ns
    moments = np.concatenate([leavings, arrivals])
    steps = np.concatenate([-np.ones(len(times), dtype=np.int64), np.ones(len(times), dtype=np.int64)])
    order = np.lexsort(
        (steps, moments)
    )  # at the same instant, what leaves goes first: the window is half open
    count = np.cumsum(steps[order])
    found: list[Flood] = []
    start_ns: int | None = None
    for at_ns, n in zip(moments[order].tolist(), count.tolist(), strict=True):
        if start_ns is None and n >= rule.start_at_least:
            start_ns = at_ns
        elif start_ns is not None and n < rule.end_below:
            found.append(_flood(times, start_ns, at_ns, rule))
            start_ns = None
    return found


def _flood(times: Times, start_ns: int, end_ns: int, rule: FloodRule) -> Flood:
    first, full, last = np.searchsorted(times, [start_ns, min(start_ns + rule.length_ns, end_ns), end_ns])
    return Flood(start_ns, end_ns, int(last - first), int(full - first))
