"""UTC nanoseconds as the library's time stamps, and back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import cast

from asyncua import ua

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def stamp(time_ns: int) -> ua.DateTime:
    """The time stamp of a moment; what is finer than a microsecond is lost.

    Example:
        >>> stamp(1_500_000_000).isoformat()
        '1970-01-01T00:00:01.500000+00:00'
    """
    return cast("ua.DateTime", _EPOCH + timedelta(microseconds=time_ns // 1000))


def moment_ns(moment: datetime) -> int:
    """The moment of a time stamp; one without a zone is UTC, as OPC UA has it.

    Example:
        >>> moment_ns(datetime(1970, 1, 1, 0, 0, 1, 500_000, tzinfo=UTC))
        1500000000
    """
    aware = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    return (aware - _EPOCH) // timedelta(microseconds=1) * 1000
