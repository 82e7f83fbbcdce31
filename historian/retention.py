"""What may go, and when: a plan for segments and rollups whose time is up; pure, others delete by it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from historian.archive.manifest import DAY_NS, Level, Segment
from historian.errors import WrongInput
from historian.rollups.columns import HOUR_NS, MINUTE_NS
from historian.rollups.listed import RollupFile, RollupList

# A year counts 366 days and a month 31: nothing goes earlier than was asked.
_UNITS_NS: Final = {"h": HOUR_NS, "d": DAY_NS, "w": 7 * DAY_NS, "mo": 31 * DAY_NS, "y": 366 * DAY_NS}
_TEXT: Final = re.compile(r"\s*(\d+)\s*(h|d|w|mo|y)\s*")

Window = tuple[int, int]

EVER_NS: Final = 2**63 - 1
"""The end of a window that is still open."""


@dataclass(frozen=True, slots=True)
class Keep:
    """How long each form of the samples stays, in nanoseconds; None: for ever.

    Attributes:
        raw_ns: the samples themselves.
        minute_ns, hour_ns: one-minute and one-hour rollups.
    """

    raw_ns: int | None = None
    minute_ns: int | None = None
    hour_ns: int | None = None

    @classmethod
    def read(cls, *, raw: str | None = None, minute: str | None = None, hour: str | None = None) -> Keep:
        """From what stands in a line's file, such as ``400d`` and ``10y``.

        Raises:
            WrongInput: not such a duration.
        """
        return cls(*(None if text is None else duration_ns(text) for text in (raw, minute, hour)))

    def rollups_ns(self) -> dict[int, int | None]:
        """Length of an interval → how long its rollups stay."""
        return {MINUTE_NS: self.minute_ns, HOUR_NS: self.hour_ns}


@dataclass(frozen=True, slots=True)
class RetentionPlan:
    """What is to go now.

    Attributes:
        segments: raw samples whose time is up.
        rollups: files of rollups whose time is up.
        waiting: segments whose time is up but that have to stay, each with the reason.
    """

    segments: tuple[Segment, ...] = ()
    rollups: tuple[RollupFile, ...] = ()
    waiting: tuple[tuple[Segment, str], ...] = ()


def plan_retention(
    segments: Sequence[Segment],
    rollups: RollupList,
    keep: Keep,
    *,
    now_ns: int,
    newest_ns: int,
    held: Sequence[Window] = (),
) -> RetentionPlan:
    """What may go now, never sooner than asked and never without what is to outlive it.

    A segment goes when all of its window is older than its time, it meets no held window, and the rollups
    that stay longer have been made from this very form of it. Age is measured back from the earlier of the
    clock and the newest sample: one wrong clock, at the edge or in a machine, makes nothing expire.

    Args:
        segments: what the archive holds.
        rollups: what has been rolled up.
        now_ns, newest_ns: the edge's clock, and the newest source time in the store; UTC nanoseconds.
        held: windows [start, end) to be kept whatever their age, such as trials.
    """
    today_ns = min(now_ns, newest_ns)
    going: list[Segment] = []
    waiting: list[tuple[Segment, str]] = []
    for segment in segments:
        if not _is_over(segment.end_ns, keep.raw_ns, today_ns):
            continue
        reason = _reason_to_stay(segment, rollups, keep, held, today_ns)
        if reason:
            waiting.append((segment, reason))
        else:
            going.append(segment)
    spent = tuple(
        f
        for f in rollups.files
        if f.interval_ns in keep.rollups_ns()
        and _is_over(f.end_ns, keep.rollups_ns()[f.interval_ns], today_ns)
        and not _meets(held, f.start_ns, f.end_ns)
    )
    return RetentionPlan(tuple(going), spent, tuple(waiting))


def duration_ns(text: str) -> int:
    """A written duration in nanoseconds: hours, days, weeks, months (31 days) or years (366 days).

    Raises:
        WrongInput: anything else, or nothing at all.

    Example:
        >>> duration_ns("400d") == 400 * 86_400 * 10**9
        True
    """
    match = _TEXT.fullmatch(text)
    if match is None or int(match[1]) == 0:
        raise WrongInput(f"'{text}' is no time to keep something: write such as 36h, 400d, 8w, 6mo or 10y")
    return int(match[1]) * _UNITS_NS[match[2]]


def _is_over(end_ns: int, kept_ns: int | None, today_ns: int) -> bool:
    return kept_ns is not None and end_ns <= today_ns - kept_ns


def _meets(windows: Sequence[Window], start_ns: int, end_ns: int) -> bool:
    return any(a < end_ns and b > start_ns for a, b in windows)


def _reason_to_stay(
    segment: Segment, rollups: RollupList, keep: Keep, held: Sequence[Window], today_ns: int
) -> str:
    """Why a segment whose time is up has to stay; empty when it may go.

    An hour waits for its day: were it to go alone, rollups could not tell what of the day they hold already.
    """
    if segment.level is Level.HOUR:
        return "its day is not made yet"
    if _meets(held, segment.start_ns, segment.end_ns):
        return "held"
    for interval_ns, kept_ns in keep.rollups_ns().items():
        if not _is_over(segment.end_ns, kept_ns, today_ns) and not rollups.holds(segment, interval_ns):
            return "not rolled up yet"
    return ""
