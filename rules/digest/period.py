"""The shifts and days of a site: when they begin and end on the site's clock, as UTC nanoseconds.

A shift ends where the next one begins. Where the clock is changed in the night, a shift of eight hours on the
clock lasts seven or nine, and a day 23 or 25.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Final
from zoneinfo import ZoneInfo

from historian.errors import WrongInput
from historian.frame import NS

SHIFT: Final = "shift"
DAY: Final = "day"

_1970: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Period:
    """What a digest tells of: start ≤ time < end.

    Attributes:
        kind: ``SHIFT`` or ``DAY``.
        start_ns, end_ns: UTC nanoseconds.
    """

    kind: str
    start_ns: int
    end_ns: int

    @property
    def key(self) -> str:
        """Its name, the same whatever the zone.

        Example:
            >>> Period(SHIFT, 0, 8 * 3600 * NS).key
            'shift/1970-01-01T00:00Z'
        """
        return f"{self.kind}/{datetime.fromtimestamp(self.start_ns // NS, UTC):%Y-%m-%dT%H:%MZ}"

    @property
    def s(self) -> float:
        """Its length, seconds."""
        return (self.end_ns - self.start_ns) / NS


def start_of(text: str) -> time:
    """A shift's start as a person writes it.

    Raises:
        WrongInput: it is no time of day.
    """
    if not re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", text):
        raise WrongInput(f"'{text}' is no time of day; write it as \"06:00\"")
    return time.fromisoformat(text)


def day_of(day: date, zone: ZoneInfo) -> Period:
    """A calendar day of the site, from midnight to midnight."""
    return Period(DAY, _ns(day, time(), zone), _ns(day + timedelta(days=1), time(), zone))


def days_ended(zone: ZoneInfo, after_ns: int, until_ns: int) -> list[Period]:
    """The days whose end lies in after < end ≤ until, in order."""
    days = (day_of(day, zone) for day in _days(zone, after_ns, until_ns))
    return [d for d in days if after_ns < d.end_ns <= until_ns]


def shifts_ended(starts: Sequence[time], zone: ZoneInfo, after_ns: int, until_ns: int) -> list[Period]:
    """The shifts whose end lies in after < end ≤ until, in order.

    Args:
        starts: when shifts begin on the site's clock, in any order; none: there are no shifts.
    """
    found = _shifts(starts, zone, list(_days(zone, after_ns, until_ns)))
    return [p for p in found if after_ns < p.end_ns <= until_ns]


def shift_from(starts: Sequence[time], zone: ZoneInfo, start_ns: int) -> Period:
    """The shift that begins at that time.

    Raises:
        WrongInput: none does; naming those of that day.
    """
    day = datetime.fromtimestamp(start_ns // NS, zone).date()
    found = _shifts(starts, zone, [day - timedelta(days=1), day, day + timedelta(days=1)])
    for shift in found:
        if shift.start_ns == start_ns:
            return shift
    known = ", ".join(f"{s:%H:%M}" for s in sorted(starts)) or "not told: add shifts to [digest]"
    raise WrongInput(f"no shift begins at {day} {_clock(start_ns, zone)}; the line's shifts begin at {known}")


def _shifts(starts: Sequence[time], zone: ZoneInfo, days: Sequence[date]) -> list[Period]:
    # Two starts in the hour that a spring night leaves out are one instant: a shift without length is none.
    edges = sorted({_ns(day, start, zone) for day in days for start in starts})
    return [Period(SHIFT, a, b) for a, b in pairwise(edges)]


def _days(zone: ZoneInfo, from_ns: int, to_ns: int) -> list[date]:
    """The site's days that a stretch touches, with two more on either side."""
    first = datetime.fromtimestamp(from_ns // NS, zone).date() - timedelta(days=2)
    last = datetime.fromtimestamp(to_ns // NS, zone).date() + timedelta(days=2)
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def _ns(day: date, at: time, zone: ZoneInfo) -> int:
    """A time on the site's clock; what comes twice is the first, what is left out is an hour later."""
    moment = datetime.combine(day, at, tzinfo=zone).astimezone(UTC)
    return (moment - _1970) // timedelta(seconds=1) * NS


def _clock(time_ns: int, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(time_ns // NS, zone):%H:%M}"
