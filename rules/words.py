"""Numbers as a foreman reads them."""

from __future__ import annotations

from datetime import UTC, datetime

from historian.frame import NS

_COUNTS = (
    "none",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


def count(number: int) -> str:
    """A count in words up to twelve.

    Example:
        >>> count(7), count(40)
        ('seven', '40')
    """
    return _COUNTS[number] if 0 <= number < len(_COUNTS) else str(number)


def two_digits(value: float) -> str:
    """A positive value with two significant digits.

    Example:
        >>> two_digits(26.4), two_digits(1234.0), two_digits(0.0)
        ('26', '1200', '0')
    """
    return f"{float(f'{value:.2g}'):g}"


def minutes(seconds: float) -> str:
    """Seconds as minutes with two significant digits."""
    return two_digits(seconds / 60)


def clock(time_ns: int) -> str:
    """A time of day, UTC.

    Example:
        >>> clock(1_700_000_000_000_000_000)
        '22:13:20 UTC'
    """
    return datetime.fromtimestamp(time_ns // NS, UTC).strftime("%H:%M:%S UTC")
