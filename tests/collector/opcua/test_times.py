"""Times are whole nanoseconds, exact to the last microsecond."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from hypothesis import given
from hypothesis import strategies as st

from collector.opcua.times import ns_of

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@given(st.integers(-(10**15), 10**16))
def test_exact(us: int) -> None:
    assert ns_of(EPOCH + timedelta(microseconds=us)) == us * 1_000


def test_zones() -> None:
    stamp = datetime(2026, 3, 29, 3, 0, tzinfo=timezone(timedelta(hours=2)))
    assert ns_of(stamp) == ns_of(datetime(2026, 3, 29, 1, 0))
