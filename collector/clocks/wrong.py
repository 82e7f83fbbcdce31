"""What is wrong with a clock, from how far it is off; words and limits, pure.

A sample cannot come before it was taken, so a source that is ahead of its arrival has a wrong clock, or the
edge has. A sample can come late by any time: whether a source that is behind is late or wrong is judged in
``collector.clocks.lateness``.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import Final

from historian.clocks.trusted import MADE_NS, is_zone
from historian.frame import NS

FUTURE_NS: Final = 5 * NS
"""A source time this far after arrival cannot be true: clocks kept by a time server differ by less than a
second, and clocks of machines that are looked after by a few."""

BEHIND_NS: Final = 600 * NS
"""Up to this far behind, a source is taken for late: publishing intervals, gateways and short outages make
minutes; the smallest of the usual mistakes with clocks, a time zone, makes a quarter of an hour."""

OLD_NS: Final = 30 * 86_400 * NS
"""Further behind than this no sample is taken for late: brokers and buffers are sized for hours or days."""

MS: Final = 1_000_000

_QUARTER_NS: Final = 900 * NS
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class Wrong(StrEnum):
    """In which way a clock is wrong."""

    UNSET = "unset"  # it shows a time before this software was made: 1970, or a maker's first day
    ZONE = "local time"  # off by whole quarters of an hour, up to fourteen hours
    DAYS = "days"  # a day or more: a mistyped day, month or year
    OFF = "off"  # anything else: never set well, or drifted


def wrong_of(offset_ns: int, shown_ns: int) -> Wrong:
    """In which way a clock is wrong.

    Args:
        offset_ns: by how much it is ahead; negative when behind.
        shown_ns: what it shows.

    Example:
        >>> wrong_of(-7200 * NS, MADE_NS + 10**18), wrong_of(366 * 86_400 * NS, MADE_NS + 10**18)
        (<Wrong.ZONE: 'local time'>, <Wrong.DAYS: 'days'>)
    """
    if shown_ns < MADE_NS:
        return Wrong.UNSET
    if is_zone(offset_ns):
        return Wrong.ZONE
    return Wrong.DAYS if abs(offset_ns) >= 86_400 * NS else Wrong.OFF


def said_of(offset_ns: int, shown_ns: int) -> str:
    """What is wrong with a clock, one clause for a person.

    Example:
        >>> said_of(7200 * NS, MADE_NS + 10**18)
        'it sends local time, 2:00 h ahead of UTC'
        >>> said_of(-1_893_456_000 * NS, 0)
        'its clock is not set: it shows 1970-01-01'
    """
    wrong = wrong_of(offset_ns, shown_ns)
    way = "ahead" if offset_ns > 0 else "behind"
    if wrong is Wrong.UNSET:
        return f"its clock is not set: it shows {_day(shown_ns)}"
    if wrong is Wrong.ZONE:
        minutes = abs(round(offset_ns / _QUARTER_NS)) * 15
        return f"it sends local time, {minutes // 60}:{minutes % 60:02d} h {way} of UTC"
    if wrong is Wrong.DAYS:
        return f"its clock is {abs(offset_ns) / (86_400 * NS):.1f} days {way}"
    if abs(offset_ns) < 600 * NS:
        return f"its clock is {abs(offset_ns) / NS:.1f} s {way}"
    return f"its clock is {abs(offset_ns) / (60 * NS):.1f} min {way}"


def changed_zone(before_ns: int, offset_ns: int) -> bool:
    """Whether two offsets differ as local time does at the change of summer time: by an hour, both zones'.

    Example:
        >>> changed_zone(3600 * NS, 7201 * NS), changed_zone(3600 * NS, 10_800 * NS)
        (True, False)
    """
    return (
        is_zone(offset_ns) and is_zone(before_ns) and abs(abs(offset_ns - before_ns) - 3600 * NS) < 120 * NS
    )


def shift_for(offset_ns: int) -> int:
    """What to add to a source's times: whole milliseconds; a time zone's offset exactly where it is one.

    The offset of local time is known to be whole quarters of an hour, so that what is left is the time on the
    way. Any other one is taken off as it is, and the newest sample comes to lie at its arrival.

    Example:
        >>> shift_for(-3600 * NS - 250_000_000) // NS, shift_for(-1_234_567_890)
        (3600, 1235000000)
    """
    zone_ns = round(offset_ns / _QUARTER_NS) * _QUARTER_NS
    # The rest is the time on the way, so it is not ahead.
    if is_zone(offset_ns) and -FUTURE_NS <= offset_ns - zone_ns <= NS:
        return -zone_ns
    return whole_ms(-offset_ns)


def whole_ms(ns: int) -> int:
    """The next whole millisecond that is not smaller.

    Example:
        >>> whole_ms(1), whole_ms(-1), whole_ms(2_000_000)
        (1000000, 0, 2000000)
    """
    return -(-ns // MS) * MS


def _day(time_ns: int) -> str:
    # Counted in seconds: what a clock shows may lie outside of what a datetime of nanoseconds holds.
    try:
        return f"{_EPOCH + timedelta(seconds=time_ns // NS):%Y-%m-%d}"
    except OverflowError:
        return "no date at all"
