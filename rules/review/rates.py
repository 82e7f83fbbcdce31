"""How many alarms came in ten minutes, an hour, a day: by the clock of the site, and in a sliding window.

The two differ: ten alarms round a full ten minutes fall into two windows of the clock, and into one that
slides. The published figures are counted by the clock here; the highest sliding count stands beside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Times
from rules.review.spells import Spell, Window, within

TEN_MIN_NS: Final = 600 * NS
HOUR_NS: Final = 3600 * NS
_1970: Final = datetime(1970, 1, 1, tzinfo=UTC)


def days(window: Window, zone: tzinfo) -> NDArray[np.int64]:
    """The site's midnights from the one before the window to the one after it, UTC nanoseconds, shape (n,).

    A day has 23 or 25 hours where the clock is changed.
    """
    first = datetime.fromtimestamp(window.start_ns // NS, zone).date()
    edges = [_midnight_ns(first, zone)]
    while edges[-1] < window.end_ns:
        first += timedelta(days=1)
        edges.append(_midnight_ns(first, zone))
    return np.array(edges, dtype=np.int64)


def clock_edges(window: Window, zone: tzinfo, length_ns: int) -> NDArray[np.int64]:
    """Where the clock's windows begin and end that the review touches, shape (n + 1,).

    They are counted from the site's midnight. Those that the ends of the review cut are whole here: what
    lies outside of the review is not in their counts.

    Args:
        length_ns: of a window; a part of an hour, or an hour.
    """
    midnights = days(window, zone)
    pieces = [np.arange(a, b, length_ns) for a, b in pairwise(midnights.tolist())]
    edges = np.concatenate([*pieces, midnights[-1:]])
    first = int(np.searchsorted(edges, window.start_ns, side="right")) - 1
    last = int(np.searchsorted(edges, window.end_ns, side="left"))
    return edges[first : last + 1]


@dataclass(frozen=True, slots=True)
class Counts:
    """Alarms in windows of the clock.

    Attributes:
        start_ns, end_ns: of each window, shape (n,).
        count: alarms in it, shape (n,).
    """

    start_ns: Times
    end_ns: Times
    count: Times

    @property
    def most(self) -> int:
        """The highest count; 0 without windows."""
        return int(self.count.max(initial=0))

    def share_above(self, limit: int) -> float:
        """Share of windows with more than so many alarms, %; NaN without windows."""
        return 100 * float(np.mean(self.count > limit)) if len(self.count) else np.nan


def by_clock(times: Times, edges: Times, recorded: Sequence[Spell] | None = None) -> Counts:
    """The alarms in each window; windows of which nothing was recorded, and that hold none, are left out.

    Args:
        times: rising, shape (n,).
        edges: rising, shape (m + 1,).
        recorded: when alarms could be raised, apart from one another; None: always.
    """
    count = np.diff(np.searchsorted(times, edges, side="left"))
    start, end = edges[:-1], edges[1:]
    keep = np.ones(len(start), dtype=np.bool_)
    if recorded is not None:
        keep = count > 0
        for s in recorded:
            keep |= (start < s.until(int(edges[-1]))) & (end > s.start_ns)
    return Counts(start[keep], end[keep], count[keep].astype(np.int64))


def sliding_count(times: Times, length_ns: int) -> Times:
    """How many alarms came from each one on within so long, itself included and the end not, shape (n,).

    Example:
        >>> sliding_count(np.array([0, 20, 59, 60]), 60).tolist()
        [3, 3, 2, 1]
    """
    until = np.searchsorted(times, times + length_ns, side="left")
    counts: Times = (until - np.arange(len(times))).astype(np.int64)
    return counts


def recorded_s(recorded: Sequence[Spell], window: Window) -> float:
    """How much of the window was recorded, seconds; the spells lie apart from one another."""
    return sum(s.until(window.end_ns) - s.start_ns for s in within(recorded, window)) / NS


def _midnight_ns(day: object, zone: tzinfo) -> int:
    moment = datetime.fromisoformat(f"{day}T00:00:00").replace(tzinfo=zone)
    return (moment - _1970) // timedelta(seconds=1) * NS
