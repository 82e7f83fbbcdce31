"""Time stamps as machines write them, as whole nanoseconds."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from typing import Final, Literal
from zoneinfo import ZoneInfo

from historian.errors import WrongInput

TimeFormat = Literal["iso", "s", "ms", "us", "ns"]

_UNIT_NS: Final = {"s": 1_000_000_000, "ms": 1_000_000, "us": 1_000, "ns": 1}
_LAST_NS: Final = 2**62
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
# Source: RFC 3339, 5.6, with the blank and the comma that ISO 8601 allows as well.
_ISO: Final = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d:\d\d)(?:[.,](\d{1,9})\d*)?\s?([Zz]|[+-]\d\d:?\d\d)?", re.ASCII
)


def time_reader(form: TimeFormat, zone: str | None = None) -> Callable[[object], int | None]:
    """A function from what stands for a time in a message to UTC nanoseconds; None when it is no time.

    Args:
        form: ``iso`` text, or a count of seconds, milliseconds, microseconds or nanoseconds since 1970.
        zone: IANA zone of texts that name none; None refuses such texts.

    Example:
        >>> time_reader("ms")(1700000000123), time_reader("iso")("2023-11-14T22:13:20.123456789Z")
        (1700000000123000000, 1700000000123456789)
    """
    if form == "iso":
        local = ZoneInfo(zone) if zone is not None else None
        return lambda said: _iso_ns(said, local)
    unit_ns = _UNIT_NS[form]
    return lambda said: _count_ns(said, unit_ns)


def check_zone(form: TimeFormat, zone: str | None) -> None:
    """Refuse a zone for times that need none.

    Raises:
        WrongInput: counts since 1970 are UTC by their nature.
    """
    if zone is not None and form != "iso":
        raise WrongInput(f'a count ("{form}") is UTC by its nature; take out the zone, or write "iso"')


def _count_ns(said: object, unit_ns: int) -> int | None:
    if type(said) is int:
        ns = said * unit_ns
    elif isinstance(said, float):
        # Through the decimals that were written: a binary fraction of a second is no whole nanosecond.
        if said - said != 0.0:
            return None
        ns = int(Decimal(repr(said)) * unit_ns)
    elif isinstance(said, str):
        try:
            ns = int(Decimal(said) * unit_ns)
        except (InvalidOperation, ValueError, OverflowError):
            return None
    else:
        return None
    return ns if 0 <= ns < _LAST_NS else None


def _iso_ns(said: object, local: ZoneInfo | None) -> int | None:
    found = _ISO.fullmatch(said) if isinstance(said, str) else None
    if found is None:
        return None
    day, clock, fraction, offset = found.groups()
    try:
        moment = datetime.fromisoformat(f"{day}T{clock}{'+00:00' if offset in ('Z', 'z') else offset or ''}")
    except ValueError:
        return None
    if moment.tzinfo is None:
        if local is None:
            return None
        moment = moment.replace(tzinfo=local)
    since = moment.astimezone(UTC) - _EPOCH
    ns = (since.days * 86_400 + since.seconds) * 1_000_000_000 + int((fraction or "0").ljust(9, "0"))
    return ns if 0 <= ns < _LAST_NS else None
