"""OPC UA's times as whole nanoseconds, and back.

A time is cut to whole microseconds, because the library does so: a sample then has the same time whether it
came live or out of a history, and whoever decoded it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

NO_TIME = -(2**63)
"""Stands for a time stamp that is not there."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_1970_FILETIME = 116_444_736_000_000_000  # 100 ns since 1601. Source: OPC 10000-6, 5.2.2.5
_FAR_NS = 9_000_000_000 * 1_000_000_000  # 285 years: what a column of nanoseconds holds


def ns_of(stamp: datetime) -> int:
    """UTC nanoseconds since 1970; a stamp without a zone is UTC, as the protocol's are.

    Example:
        >>> ns_of(datetime(1970, 1, 2, 0, 0, 0, 5, tzinfo=UTC))
        86400000005000
    """
    since = (stamp if stamp.tzinfo is not None else stamp.replace(tzinfo=UTC)) - _EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000_000 + since.microseconds * 1_000


def stamp_of(time_ns: int) -> datetime:
    """The protocol's time stamp of a time, cut to whole microseconds.

    Example:
        >>> stamp_of(86400000005999)
        datetime.datetime(1970, 1, 2, 0, 0, 0, 5, tzinfo=datetime.timezone.utc)
    """
    return _EPOCH + timedelta(microseconds=time_ns // 1_000)


def told_ns(stamp: datetime | None) -> int:
    """As ``ns_of``; ``NO_TIME`` for none, for the protocol's "no time", and for one no clock can mean.

    Source: OPC 10000-6, 5.2.2.5 (DateTime: its least and its greatest value).
    """
    if stamp is None:
        return NO_TIME
    time_ns = ns_of(stamp)
    return time_ns if abs(time_ns) < _FAR_NS else NO_TIME


def told_column_ns(filetime: NDArray[Any]) -> NDArray[np.int64]:
    """The same for a column of the protocol's own numbers, shape (n,).

    Example:
        >>> told_column_ns(np.array([116444736000000019, 0])).tolist() == [1000, NO_TIME]
        True
    """
    microseconds = filetime // 10 - _1970_FILETIME // 10
    there = np.abs(microseconds) < _FAR_NS // 1_000
    times: NDArray[np.int64] = np.where(there, microseconds * 1_000, NO_TIME)
    return times
