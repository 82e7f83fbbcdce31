"""Stamps: whole nanoseconds, and the hour that the clock passes twice."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.exchange._clock import Resolved, in_zone, stamp_reader, to_utc
from historian.frame import NS

MADRID = ZoneInfo("Europe/Madrid")
HOUR = 3600 * NS


def ns(text: str) -> int:
    """UTC nanoseconds of an ISO text without a zone."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * NS


def resolve(texts: list[str], fold: str = "order", group: list[int] | None = None) -> Resolved:
    wall = np.array([ns(t) for t in texts], np.int64)
    return to_utc(wall, MADRID, fold, np.array(group or [0] * len(texts), np.int32))


@pytest.mark.parametrize(
    ("form", "text", "expected"),
    [
        ("iso", "2026-03-01T12:00:00.123456789", (ns("2026-03-01T12:00:00") + 123_456_789, False)),
        ("iso", "2026-03-01 12:00:00,5+02:00", (ns("2026-03-01T10:00:00") + NS // 2, True)),
        ("iso", "2026-03-01T12:00Z", (ns("2026-03-01T12:00:00"), True)),
        ("%d.%m.%Y %H:%M:%S", "1.3.2026 7:05:09", (ns("2026-03-01T07:05:09"), False)),
        ("%m/%d/%y %I:%M:%S %p", "03/01/26 12:00:01 AM", (ns("2026-03-01T00:00:01"), False)),
        ("%m/%d/%y %I:%M:%S %p", "03/01/26 12:00:01 p.m.", (ns("2026-03-01T12:00:01"), False)),
        ("%d-%b-%Y %H:%M", "01-Mar-2026 12:30", (ns("2026-03-01T12:30:00"), False)),
        ("unix_ms", "1772366400123", (1_772_366_400_123_000_000, True)),
        ("unix_s", "1772366400.000000001", (1_772_366_400_000_000_001, True)),
        ("excel", "46082,5", (ns("2026-03-01T12:00:00"), False)),
    ],
)
def test_stamps_are_read_to_the_nanosecond(form: str, text: str, expected: tuple[int, bool]) -> None:
    assert stamp_reader(form)(text) == expected


@pytest.mark.parametrize(
    ("form", "text"),
    [
        ("%d.%m.%Y %H:%M:%S", "31.02.2026 00:00:00"),
        ("%d.%m.%Y %H:%M:%S", "01.02.2026 24:00:00"),
        ("%d.%m.%Y %H:%M:%S", "01.02.2026 12:60:00"),
        ("%d.%m.%Y %H:%M:%S", "01.02.2026 12:00:00 x"),
        ("%d.%m.%Y %H:%M:%S", "01x02.2026 12:00:00"),
        ("%d-%b-%Y %H:%M", "01-Mai-2026 12:30"),
        ("%m/%d/%y %I:%M %p", "03/01/26 13:00 PM"),
        ("iso", "2026-03-01"),
        ("iso", "9999-03-01T00:00:00"),
        ("unix_s", "NaN"),
        ("unix_s", "1e30"),
        ("unix_ns", ""),
    ],
)
def test_what_is_no_stamp_is_not_read(form: str, text: str) -> None:
    assert stamp_reader(form)(text) is None


@pytest.mark.parametrize(
    "form", ["%d.%m.%Y", "%Y-%m-%d %I:%M", "%Y-%m-%d %H:%M %Q", "%d %d %m %Y %H", "never"]
)
def test_a_form_that_says_too_little_is_refused(form: str) -> None:
    with pytest.raises(WrongInput, match="no form of a stamp"):
        stamp_reader(form)


@given(st.integers(0, 4_000_000_000_000_000_000))
def test_a_stamp_with_nine_digits_comes_back_whole(time_ns: int) -> None:
    second, rest = divmod(time_ns, NS)
    text = (datetime(1970, 1, 1) + timedelta(seconds=second)).strftime("%d.%m.%Y %H:%M:%S") + f",{rest:09d}"
    assert stamp_reader("%d.%m.%Y %H:%M:%S,%f")(text) == (time_ns, False)


def every(minutes: int, start_utc: str, count: int) -> tuple[list[int], list[str]]:
    """Even times in UTC, and what a clock in Madrid shows."""
    times = [ns(start_utc) + k * minutes * 60 * NS for k in range(count)]
    shown = [
        datetime.fromtimestamp(t // NS, UTC).astimezone(MADRID).replace(tzinfo=None).isoformat()
        for t in times
    ]
    return times, shown


def test_the_second_pass_begins_where_the_rows_step_back() -> None:
    times, shown = every(10, "2026-10-24T22:00:00", 40)
    assert len(set(shown)) < len(shown)
    found = resolve(shown)
    assert found.time_ns.tolist() == times
    assert not found.doubtful.any()
    assert not found.missing.any()


def test_rows_from_the_newest_to_the_oldest_are_read_backwards() -> None:
    times, shown = every(10, "2026-10-24T22:00:00", 40)
    assert resolve(shown[::-1]).time_ns.tolist() == times[::-1]


def test_a_small_step_back_does_not_begin_the_second_pass() -> None:
    times, shown = every(10, "2026-10-24T22:00:00", 40)
    shown[13:15], times[13:15] = shown[14:12:-1], times[14:12:-1]
    assert "T02:" in shown[13]
    assert resolve(shown).time_ns.tolist() == times


def test_each_group_has_its_own_passes() -> None:
    times, shown = every(30, "2026-10-24T22:00:00", 12)
    found = resolve(shown + shown, group=[0] * 12 + [1] * 12)
    assert found.time_ns.tolist() == times + times


@pytest.mark.parametrize("part", ["first", "second"])
def test_one_pass_alone_joins_the_neighbour_without_a_hole(part: str) -> None:
    times, shown = every(10, "2026-10-24T22:00:00", 40)
    two_to_three = [k for k, t in enumerate(shown) if "T02:" in t]
    gone = set(two_to_three[6:] if part == "first" else two_to_three[:6])
    kept = [k for k in range(40) if k not in gone]
    found = resolve([shown[k] for k in kept])
    # The hole is on one side in truth: an hour. Both sides look alike in local time.
    wanted = [times[k] for k in kept]
    others = [t for t, w in zip(found.time_ns.tolist(), wanted, strict=True) if t != w]
    assert found.doubtful.sum() == 6
    assert len(others) in (0, 6)


def test_a_recording_that_stops_in_the_first_pass_is_in_the_first_pass() -> None:
    times, shown = every(10, "2026-10-24T23:00:00", 10)
    found = resolve(shown[:10])
    assert found.time_ns.tolist() == times
    assert not found.doubtful.any()


def test_a_recording_that_begins_in_the_second_pass_is_in_the_second_pass() -> None:
    times, shown = every(10, "2026-10-25T01:00:00", 12)
    found = resolve(shown)
    assert found.time_ns.tolist() == times
    assert not found.doubtful.any()


def test_one_hour_alone_is_doubtful_and_goes_to_the_first_pass() -> None:
    found = resolve(["2026-10-25T02:10:00", "2026-10-25T02:20:00"])
    assert found.doubtful.all()
    assert found.time_ns[0] == ns("2026-10-25T00:10:00")


@pytest.mark.parametrize(
    ("fold", "utc"), [("first", "2026-10-25T00:10:00"), ("second", "2026-10-25T01:10:00")]
)
def test_the_mapping_may_say_which_pass(fold: str, utc: str) -> None:
    found = resolve(["2026-10-25T02:10:00"], fold)
    assert found.time_ns.tolist() == [ns(utc)]
    assert not found.doubtful.any()


def test_an_hour_that_the_clock_skips_is_told() -> None:
    found = resolve(["2026-03-29T01:59:59", "2026-03-29T02:30:00", "2026-03-29T03:00:00"])
    assert found.missing.tolist() == [False, True, False]
    assert found.time_ns[[0, 2]].tolist() == [ns("2026-03-29T00:59:59"), ns("2026-03-29T01:00:00")]


@given(st.integers(0, 365 * 24 * 60), st.integers(1, 90), st.integers(2, 200))
def test_even_rows_come_back_whenever_they_begin(start_minute: int, minutes: int, count: int) -> None:
    start = (datetime(2026, 1, 1) + timedelta(minutes=start_minute)).isoformat()
    times, shown = every(minutes, start, count)
    found = resolve(shown)
    sure = ~found.doubtful
    assert not found.missing.any()
    assert found.time_ns[sure].tolist() == np.array(times)[sure].tolist()


def test_times_are_shown_with_their_offset() -> None:
    assert in_zone(ns("2026-07-01T10:00:00") + 1_500_000, MADRID) == "2026-07-01T12:00:00.001+02:00"


@given(st.integers(0, 90), st.integers(1, 90), st.integers(0, 2))
def test_rows_of_any_distance_that_go_over_the_hour_twice_come_back(
    start_minute: int, minutes: int, doubled: int
) -> None:
    times, shown = every(
        minutes, f"2026-10-24T{20 + start_minute // 60}:{start_minute % 60:02d}:00", 400 // minutes + 8
    )
    if minutes < 30:
        # Rows that stand twice change nothing.
        shown = [t for k, t in enumerate(shown) for _ in range(1 + (doubled > 0 and k % (2 + doubled) == 0))]
        times = [t for k, t in enumerate(times) for _ in range(1 + (doubled > 0 and k % (2 + doubled) == 0))]
    found = resolve(shown)
    sure = ~found.doubtful
    assert found.time_ns[sure].tolist() == np.array(times)[sure].tolist()
    assert minutes >= 60 or sure.all()


@pytest.mark.parametrize("second", [False, True])
def test_rows_after_a_hole_of_hours_join_the_side_without_one(second: bool) -> None:
    times, shown = every(10, "2026-10-24T21:00:00", 60)
    one_pass = [k for k, t in enumerate(shown) if "T02:" in t][6 * second : 6 * second + 6]
    kept = [0, 1, *one_pass, *range(one_pass[-1] + 1, 60)] if second else [*range(one_pass[-1] + 1), 58, 59]
    found = resolve([shown[k] for k in kept])
    assert found.time_ns.tolist() == [times[k] for k in kept]
    assert not found.doubtful.any()
