"""How many digits of a number are shown: three at most, and no more than its uncertainty allows. Pure.

Source: JCGM 100:2008 (GUM), 7.2.6: an uncertainty has two significant digits at most, may be rounded up, and
the value is rounded to the same place. The limit of three digits is this report's own.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from math import ceil, floor, isfinite, log10
from typing import Final

DIGITS: Final = 3
_UNCERTAIN_DIGITS: Final = 2
_LITTLE: Final = 0.05
"""An uncertainty is rounded up unless it exceeds the lower step by less: 28.05 becomes 28,
as in GUM 7.2.6."""


def shown(value: float, expanded: float | None = None, digits: int = DIGITS) -> tuple[str, str]:
    """A value and its expanded uncertainty as decimal numbers; the latter is empty where there is none.

    Example:
        >>> shown(780.4, 12.2), shown(0.24638, 0.0031), shown(1234.5), shown(3.996)
        (('780', '13'), ('0.246', '0.004'), ('1230', ''), ('4.00', ''))
        >>> shown(10.05762, 0.027), shown(2.4, 0.8)
        (('10.1', '0.1'), ('2.40', '0.80'))
    """
    if not isfinite(value):
        raise ValueError("a number that is not known is not shown")
    places = [_place(value, digits)] if value else []
    if expanded is not None and isfinite(expanded) and expanded > 0:
        places.append(_place(expanded, _UNCERTAIN_DIGITS))
    place = max(places, default=0)
    if value and abs(_rounded(value, place)) >= Decimal(10) ** (place + digits):
        place += 1  # 9.996 becomes 10.0, not 10.00
    text = _plain(_rounded(value, place), place)
    if expanded is None or not isfinite(expanded) or expanded <= 0:
        return text, ""
    steps = max(ceil(expanded / 10.0**place - _LITTLE), 1)
    return text, _plain(Decimal(steps).scaleb(place), place)


def as_set(value: float) -> str:
    """A number that a person has set or told: as it is, up to six digits.

    Example:
        >>> as_set(1607.0), as_set(3.2), as_set(0.1)
        ('1607', '3.2', '0.1')
    """
    return format(Decimal(f"{value:.6g}").normalize(), "f")


def power_of_ten(text: str, most: int = 6) -> tuple[str, int]:
    """A long decimal number as (mantissa, exponent); exponent 0 where it is short enough to be read.

    Example:
        >>> power_of_ten("4560000"), power_of_ten("1230"), power_of_ten("0.0000123")
        (('4.56', 6), ('1230', 0), ('1.23', -5))
    """
    number = Decimal(text)
    if not number:
        return text, 0
    exponent = number.adjusted()
    if -4 < exponent < most:
        return text, 0
    return format(number.scaleb(-exponent).normalize(), "f"), exponent


def _place(number: float, digits: int) -> int:
    """Power of ten of the last of so many significant digits."""
    return floor(log10(abs(number))) - digits + 1


def _rounded(value: float, place: int) -> Decimal:
    return (Decimal(repr(value)).scaleb(-place)).quantize(Decimal(1), ROUND_HALF_EVEN).scaleb(place)


def _plain(number: Decimal, place: int) -> str:
    text = format(number.quantize(Decimal(1).scaleb(place)) if place < 0 else number, "f")
    if text.strip("-0.") == "":
        return text.lstrip("-") if place < 0 else "0"  # nothing is less than nothing by rounding
    return text
