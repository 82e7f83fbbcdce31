"""Alarms that tell nobody anything: those that chatter, flit past, or stand for days.

Source: ISA-18.2 guidance, seen in secondary text: chattering is 3 or more of one alarm in a minute, stale
is active for more than 24 h, fleeting is short without repeating at once. How short is not published: a
minute here, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Times
from rules.review.history import AlarmHistory
from rules.review.rates import sliding_count
from rules.review.spells import Spell, Window, within, without

CHATTER_COUNT: Final = 3
MINUTE_NS: Final = 60 * NS
FLEETING_NS: Final = 60 * NS
STALE_NS: Final = 24 * 3600 * NS


def chatter(times: Times, *, count: int = CHATTER_COUNT, length_ns: int = MINUTE_NS) -> NDArray[np.bool_]:
    """Which activations of one alarm belong to chattering: at least so many in a minute, its end left out.

    Args:
        times: rising, shape (n,).

    Returns:
        shape (n,).

    Example:
        >>> s = 10**9
        >>> chatter(np.array([0, 20, 59]) * s).tolist(), chatter(np.array([0, 30, 61]) * s).tolist()
        ([True, True, True], [False, False, False])
    """
    ahead = sliding_count(times, length_ns)
    marked = np.zeros(len(times) + 1, dtype=np.int64)
    for first in np.flatnonzero(ahead >= count).tolist():
        marked[first] += 1
        marked[first + int(ahead[first])] -= 1
    belongs: NDArray[np.bool_] = np.cumsum(marked[:-1]) > 0
    return belongs


@dataclass(frozen=True, slots=True)
class Nuisance:
    """How one alarm annoyed within the window.

    Attributes:
        chattering: activations that belong to chattering.
        fleeting: activations that were over within a minute and did not repeat at once.
    """

    chattering: int
    fleeting: int


def nuisance_of(history: AlarmHistory, window: Window, *, fleeting_ns: int = FLEETING_NS) -> Nuisance:
    """How often the alarm chattered and was fleeting; what nobody was told of does not count."""
    times = [a.time_ns for a in history.announced if a.came and a.time_ns in window]
    chatters = chatter(np.array(times, dtype=np.int64))
    calm = {t for t, c in zip(times, chatters.tolist(), strict=True) if not c}
    short = [
        s
        for s in history.active
        if s.start_ns in calm and s.end_ns is not None and s.end_known and s.end_ns - s.start_ns < fleeting_ns
    ]
    return Nuisance(int(chatters.sum()), len(short))


def stale_spells(history: AlarmHistory, window: Window) -> list[Spell]:
    """The parts of the window in which the alarm was stale: active for more than 24 h, and not hidden.

    Example: active for exactly 24 h is not stale.
    """
    late = [Spell(s.start_ns + STALE_NS, s.end_ns) for s in history.active]
    now_ns = window.end_ns
    still = [s for s in late if s.until(now_ns) > s.start_ns]
    return within(without(still, history.all_hidden, now_ns), window)


def most_stale_on_a_day(some: Iterable[AlarmHistory], window: Window, midnights: Times) -> int:
    """The greatest number of alarms that were stale on one day of the site.

    Args:
        midnights: the site's, from before the window to after it, shape (n,).
    """
    count = np.zeros(max(len(midnights) - 1, 0), dtype=np.int64)
    for history in some:
        touched = np.zeros(len(count), dtype=np.bool_)
        for s in stale_spells(history, window):
            touched |= (midnights[:-1] < s.until(window.end_ns)) & (midnights[1:] > s.start_ns)
        count += touched
    return int(count.max(initial=0))


def most_standing(some: Sequence[AlarmHistory], window: Window) -> int:
    """The greatest number of alarms that stood at once: active and not hidden."""
    steps: list[tuple[int, int]] = []
    for history in some:
        for s in within(without(history.active, history.all_hidden, window.end_ns), window):
            steps += [(s.start_ns, 1), (s.until(window.end_ns), -1)]
    most = now = 0
    for _, step in sorted(steps):
        now += step
        most = max(most, now)
    return most
