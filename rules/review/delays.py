"""What an on-delay or an off-delay would have made of the spells that the journal tells of.

Source: OPC 10000-9, annex B.1.5: with an on-delay the condition must hold for the whole delay before the
alarm is raised; an off-delay holds the alarm through dips that are shorter than it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from historian.frame import NS
from rules.review.nuisance import CHATTER_COUNT, chatter
from rules.review.spells import Spell

ONE_DISTURBANCE_NS: Final = 60 * NS
"""Spells nearer to one another than this are taken for one disturbance; derived here, from the minute of
chattering."""


@dataclass(frozen=True, slots=True)
class Delays:
    """Seconds for which a condition must hold, and be gone, beyond what is set already."""

    on_s: float = 0.0
    off_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Raised:
    """One alarm as it would have come.

    Attributes:
        at_ns: when it would have been raised.
        end_ns: when it would have ended; None while it stands.
        begun_ns: when the disturbance began that it tells of.
    """

    at_ns: int
    end_ns: int | None
    begun_ns: int


def delayed(spells: Sequence[Spell], delays: Delays) -> list[Raised]:
    """The alarms that remain when the same spells are judged with delays.

    Args:
        spells: in which the condition held, in order, apart from one another.
    """
    on_ns, off_ns = round(delays.on_s * NS), round(delays.off_s * NS)
    found: list[Raised] = []
    standing: tuple[int, int] | None = None  # raised at, disturbance begun
    begun_ns = 0
    last_end_ns: int | None = None
    for s in spells:
        if standing is not None and last_end_ns is not None and s.start_ns >= last_end_ns + off_ns:
            found.append(Raised(standing[0], last_end_ns + off_ns, standing[1]))
            standing, last_end_ns = None, None
            begun_ns = s.start_ns
        elif last_end_ns is None or s.start_ns - last_end_ns >= ONE_DISTURBANCE_NS:
            begun_ns = s.start_ns
        if standing is None and (s.end_ns is None or s.end_ns - s.start_ns >= on_ns):
            standing = (s.start_ns + on_ns, begun_ns)
        last_end_ns = s.end_ns
    if standing is not None:
        end_ns = None if last_end_ns is None else last_end_ns + off_ns
        found.append(Raised(standing[0], end_ns, standing[1]))
    return found


@dataclass(frozen=True, slots=True)
class Backtest:
    """What delays would have made of a stretch of the journal.

    Attributes:
        before, after: how many alarms came, and would have come.
        chattering_before, chattering_after: how many of these belong to chattering.
        later_median_s, later_most_s: how much later than the beginning of their disturbance those that remain
            would have come; None where none remain.
        untold: disturbances of which nothing would have been told.
        untold_repeating: how many of these came three times or more: no mere flicker.
        longest_untold_s: how long the longest spell of such a one was.
    """

    before: int
    after: int
    chattering_before: int
    chattering_after: int
    later_median_s: float | None
    later_most_s: float | None
    untold: int
    untold_repeating: int
    longest_untold_s: float

    @property
    def saved_share(self) -> float:
        """Share of the alarms that would not have come, 0 to 1."""
        return 1 - self.after / self.before if self.before else 0.0


def backtest(spells: Sequence[Spell], delays: Delays, now_ns: int) -> Backtest:
    """Judge the spells again with the delays and compare.

    Args:
        spells: as for ``delayed``.
        now_ns: end of what is known; a spell that is open and younger than the on-delay counts as told.
    """
    remain = delayed(spells, delays)
    later = [(r.at_ns - r.begun_ns) / NS for r in remain]
    untold = _untold(spells, remain, round(delays.off_s * NS), now_ns)
    return Backtest(
        len(spells),
        len(remain),
        _chattering([s.start_ns for s in spells]),
        _chattering([r.at_ns for r in remain]),
        float(np.median(later)) if later else None,
        max(later, default=None),
        len(untold),
        sum(1 for group in untold if len(group) >= CHATTER_COUNT),
        max((s.until(now_ns) - s.start_ns for group in untold for s in group), default=0) / NS,
    )


def _untold(spells: Sequence[Spell], remain: Sequence[Raised], off_ns: int, now_ns: int) -> list[list[Spell]]:
    """The spells of each disturbance in which no alarm would have stood."""
    found: list[list[Spell]] = []
    group: list[Spell] = []
    for s in [*spells, None]:
        near = s is not None and group and s.start_ns - group[-1].until(now_ns) < ONE_DISTURBANCE_NS
        if group and not near:
            a, b = group[0].start_ns, group[-1].until(now_ns) + off_ns
            last = bisect_right(remain, b, key=lambda r: r.at_ns) - 1
            stood = last >= 0 and ((end_ns := remain[last].end_ns) is None or end_ns > a)
            if not stood:
                found.append(group)
            group = []
        if s is not None:
            group.append(s)
    return found


def _chattering(times: Sequence[int]) -> int:
    return int(chatter(np.array(sorted(times), dtype=np.int64)).sum())
