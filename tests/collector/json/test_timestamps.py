"""Times to the nanosecond, in every way in which machines write them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.json.timestamps import TimeFormat, check_zone, time_reader
from historian.errors import WrongInput

NS = 1_700_000_000_123_456_789


@pytest.mark.parametrize(
    ("form", "zone", "said", "ns"),
    [
        ("ns", None, NS, NS),
        ("us", None, NS // 1000, NS // 1000 * 1000),
        ("ms", None, 1_700_000_000_123, 1_700_000_000_123_000_000),
        ("s", None, 1_700_000_000, 1_700_000_000_000_000_000),
        ("s", None, 1_700_000_000.123, 1_700_000_000_123_000_000),
        ("s", None, "1700000000.123456789", NS),
        # Source: RFC 3339, 5.8 (the second one is the same moment in another offset).
        ("iso", None, "1985-04-12T23:20:50.52Z", 482_196_050_520_000_000),
        ("iso", None, "1996-12-19T16:39:57-08:00", 851_042_397_000_000_000),
        ("iso", None, "1996-12-20T00:39:57Z", 851_042_397_000_000_000),
        ("iso", None, "2023-11-14T22:13:20.123456789Z", NS),
        ("iso", "Europe/Madrid", "2026-07-01T12:00:00", 1_782_900_000_000_000_000),
        ("iso", "Europe/Madrid", "2026-01-01 12:00:00,5", 1_767_265_200_500_000_000),
    ],
)
def test_times_are_read_exactly(form: TimeFormat, zone: str | None, said: object, ns: int) -> None:
    assert time_reader(form, zone)(said) == ns


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ("ms", True),
        ("ms", None),
        ("ms", "soon"),
        ("ms", -1),
        ("s", float("inf")),
        ("ns", 2**62),
        ("iso", 1_700_000_000),
        ("iso", "2026-02-30T00:00:00Z"),
        ("iso", "2026-01-01T12:00:00"),
        ("iso", "1960-01-01T00:00:00Z"),
        ("iso", "2026-01-01T12:00:00Z or so"),
    ],
)
def test_what_is_no_time_is_none(form: TimeFormat, said: object) -> None:
    assert time_reader(form)(said) is None


@given(st.datetimes(datetime(1971, 1, 1), datetime(2100, 1, 1)), st.integers(-14 * 4, 14 * 4))
def test_an_offset_never_changes_the_moment(moment: datetime, quarters: int) -> None:
    moment = moment.replace(tzinfo=UTC)
    zoned = moment.astimezone(timezone(timedelta(minutes=15 * quarters)))
    since = moment - datetime(1970, 1, 1, tzinfo=UTC)
    ns = (since.days * 86_400 + since.seconds) * 10**9 + since.microseconds * 1000
    assert time_reader("iso")(zoned.isoformat()) == ns


def test_a_count_needs_no_zone() -> None:
    with pytest.raises(WrongInput, match="UTC by its nature"):
        check_zone("ms", "Europe/Madrid")
