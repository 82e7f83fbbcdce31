"""Shifts and days on the site's clock, also where that clock is changed.

Checked against the clock changes of the European Union (directive 2000/84/EC: the last Sundays of March and October, at
01:00 UTC) and of Lord Howe Island, where it is half an hour.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.frame import NS
from rules.digest import DAY, SHIFT, day_of, days_ended, shift_from, shifts_ended, start_of

MADRID = ZoneInfo("Europe/Madrid")
THREE = [time(6), time(14), time(22)]


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * NS


def test_the_shifts_of_an_ordinary_day() -> None:
    found = shifts_ended(THREE, MADRID, utc("2026-11-25T05:00"), utc("2026-11-26T05:00"))
    assert [(p.start_ns, p.end_ns) for p in found] == [
        (utc("2026-11-25T05:00"), utc("2026-11-25T13:00")),
        (utc("2026-11-25T13:00"), utc("2026-11-25T21:00")),
        (utc("2026-11-25T21:00"), utc("2026-11-26T05:00")),
    ]
    assert found[0].key == "shift/2026-11-25T05:00Z"


@pytest.mark.parametrize(
    ("night", "hours"), [("2026-03-28T21:00", 7), ("2026-10-24T20:00", 9), ("2026-06-10T20:00", 8)]
)
def test_a_night_shift_is_as_long_as_the_night_was(night: str, hours: int) -> None:
    shift = shift_from(THREE, MADRID, utc(night))
    assert shift.s == hours * 3600
    assert datetime.fromtimestamp(shift.end_ns // NS, MADRID).time() == time(6)


@pytest.mark.parametrize(("day", "hours"), [((2026, 3, 29), 23), ((2026, 10, 25), 25), ((2026, 7, 1), 24)])
def test_a_day_has_23_24_or_25_hours(day: tuple[int, int, int], hours: int) -> None:
    found = day_of(date(*day), MADRID)
    assert (found.kind, found.s) == (DAY, hours * 3600)


def test_the_clock_of_lord_howe_moves_by_half_an_hour() -> None:
    assert day_of(date(2026, 10, 4), ZoneInfo("Australia/Lord_Howe")).s == 23.5 * 3600


def test_a_shift_that_begins_in_the_hour_that_is_left_out_begins_when_the_clock_goes_on() -> None:
    starts = [time(2), time(3), time(12)]
    found = shifts_ended(starts, MADRID, utc("2026-03-28T11:00"), utc("2026-03-29T10:00"))
    assert [(p.start_ns, p.end_ns) for p in found] == [
        (utc("2026-03-28T11:00"), utc("2026-03-29T01:00")),
        (utc("2026-03-29T01:00"), utc("2026-03-29T10:00")),
    ]


def test_a_start_that_comes_twice_is_the_first_one() -> None:
    found = shifts_ended([time(2, 30)], MADRID, utc("2026-10-24T00:00"), utc("2026-10-25T12:00"))
    assert [p.end_ns for p in found] == [utc("2026-10-24T00:30"), utc("2026-10-25T00:30")]


@given(
    starts=st.sets(
        st.times(max_value=time(23, 59)).map(lambda t: t.replace(second=0, microsecond=0)), min_size=1
    ),
    zone=st.sampled_from(["Europe/Madrid", "America/St_Johns", "Australia/Lord_Howe", "Pacific/Apia", "UTC"]),
    day=st.dates(date(2000, 1, 3), date(2040, 12, 28)),
)
def test_shifts_follow_one_another_without_hole_or_overlap(starts: set[time], zone: str, day: date) -> None:
    start_ns = utc(f"{day}T00:00")
    found = shifts_ended(sorted(starts), ZoneInfo(zone), start_ns, start_ns + 4 * 86_400 * NS)
    assert found and all(p.kind == SHIFT and p.end_ns > p.start_ns for p in found)
    assert all(a.end_ns == b.start_ns for a, b in pairwise(found))
    again = [shift_from(sorted(starts), ZoneInfo(zone), p.start_ns) for p in found]
    assert again == found


def test_days_that_ended() -> None:
    found = days_ended(MADRID, utc("2026-11-24T23:00"), utc("2026-11-26T23:00"))
    assert [p.end_ns for p in found] == [utc("2026-11-25T23:00"), utc("2026-11-26T23:00")]


def test_no_shift_begins_then() -> None:
    with pytest.raises(
        WrongInput, match=r"no shift begins at 2026-11-25 07:00; .* begin at 06:00, 14:00, 22:00"
    ):
        shift_from(THREE, MADRID, utc("2026-11-25T06:00"))
    with pytest.raises(WrongInput, match="add shifts to"):
        shift_from([], MADRID, utc("2026-11-25T06:00"))


@pytest.mark.parametrize("text", ["6:00", "24:00", "06:60", "06:00:00", "", "six"])
def test_what_is_no_time_of_day(text: str) -> None:
    with pytest.raises(WrongInput, match='write it as "06:00"'):
        start_of(text)
