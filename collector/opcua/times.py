"""OPC UA's times as whole nanoseconds."""

from __future__ import annotations

from datetime import UTC, datetime

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def ns_of(stamp: datetime) -> int:
    """UTC nanoseconds since 1970; a stamp without a zone is UTC, as the protocol's are.

    Example:
        >>> ns_of(datetime(1970, 1, 2, 0, 0, 0, 5, tzinfo=UTC))
        86400000005000
    """
    since = (stamp if stamp.tzinfo is not None else stamp.replace(tzinfo=UTC)) - _EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000_000 + since.microseconds * 1_000
