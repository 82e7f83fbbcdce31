"""Times and lengths as a digest writes them: the site's clock with its offset, as coarse as people speak."""

from __future__ import annotations

from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from historian.frame import NS

_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
"""Not by the computer's language: a mail reads the same wherever it was made."""


def moment(time_ns: int, zone: ZoneInfo) -> str:
    """Day, clock and offset on the site.

    Example:
        >>> moment(1_764_064_931 * NS, ZoneInfo("Europe/Madrid"))
        '25 Nov 11:02+01:00'
    """
    local = datetime.fromtimestamp(time_ns // NS, zone)
    return f"{local.day} {_MONTHS[local.month - 1]} {clock(time_ns, zone)}"


def day_and_year(time_ns: int, zone: ZoneInfo) -> str:
    """The day on the site.

    Example:
        >>> day_and_year(1_764_064_931 * NS, ZoneInfo("Europe/Madrid"))
        '25 Nov 2025'
    """
    local = datetime.fromtimestamp(time_ns // NS, zone)
    return f"{local.day} {_MONTHS[local.month - 1]} {local.year}"


def clock(time_ns: int, zone: ZoneInfo) -> str:
    """Clock and offset on the site.

    Example:
        >>> clock(1_764_064_931 * NS, ZoneInfo("America/St_Johns"))
        '06:32-03:30'
    """
    return datetime.fromtimestamp(time_ns // NS, zone).isoformat(timespec="minutes")[11:]


def length(seconds: float) -> str:
    """A stretch of time.

    Example:
        >>> length(40), length(2700), length(8 * 3600), length(33_300)
        ('40 s', '45 min', '8 h', '9 h 15 min')
    """
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"
