"""What is wrong with a clock in words, lateness against a wrong clock, and the shift that brings it right."""

from __future__ import annotations

import ctypes

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.clocks.lateness import HOLD_NS, Lateness, Verdict
from collector.clocks.wrong import BEHIND_NS, MS, Wrong, changed_zone, said_of, shift_for, wrong_of
from collector.timeserver import is_synchronised
from historian import NS

T = 1_900_000_000 * NS


@pytest.mark.parametrize(
    ("offset_s", "wrong", "words"),
    [
        (-1_900_000_000, Wrong.UNSET, "not set: it shows 1970-01-01"),
        (3600, Wrong.ZONE, "local time, 1:00 h ahead"),
        (-20_700, Wrong.ZONE, "local time, 5:45 h behind"),
        (86_400 * 3, Wrong.DAYS, "3.0 days ahead"),
        (-86_400 * 366, Wrong.DAYS, "366.0 days behind"),
        (7.25, Wrong.OFF, "7.2 s ahead"),
        (-1250, Wrong.OFF, "20.8 min behind"),
        (4.0e9, Wrong.DAYS, "46296.3 days ahead"),
    ],
)
def test_kinds_and_words(offset_s: float, wrong: Wrong, words: str) -> None:
    offset_ns = int(offset_s * NS)
    assert wrong_of(offset_ns, T + offset_ns) is wrong
    assert words in said_of(offset_ns, T + offset_ns)


def test_a_clock_may_show_no_date_at_all() -> None:
    assert "no date at all" in said_of(-(10**20), T - 10**22)


def test_summer_time_is_a_change_between_two_zones() -> None:
    assert changed_zone(3600 * NS, 7200 * NS) and changed_zone(-3600 * NS, -7200 * NS)
    assert not changed_zone(0, 3600 * NS) and not changed_zone(3600 * NS, 3700 * NS)


@given(st.integers(-(10**18), 10**18))
def test_a_shift_is_whole_milliseconds_and_leaves_the_sample_at_its_arrival(offset_ns: int) -> None:
    shift_ns = shift_for(offset_ns)
    assert shift_ns % MS == 0
    assert -5 * NS <= offset_ns + shift_ns <= NS


@given(st.integers(BEHIND_NS, 10**15), st.lists(st.integers(0, 700_000_000), min_size=5, max_size=5))
def test_what_goes_on_as_time_does_is_a_wrong_clock(behind_ns: int, late_ns: list[int]) -> None:
    lateness, found = Lateness(T - behind_ns - late_ns[0], T), Verdict.WAIT
    for k in range(1, 31):
        now_ns = T + k * NS // 2
        found = lateness.look(now_ns - behind_ns - late_ns[k % 5], now_ns)
        if found is not Verdict.WAIT:
            break
    assert found is Verdict.WRONG


@given(st.floats(1.5, 1000), st.integers(BEHIND_NS * 2, 10**15))
def test_what_comes_faster_than_time_waited_somewhere(rate: float, behind_ns: int) -> None:
    lateness = Lateness(T - behind_ns, T)
    found = [lateness.look(T - behind_ns + int(k * rate * NS / 2), T + k * NS // 2) for k in range(1, 60)]
    assert Verdict.WRONG not in found and found[-1] is Verdict.LATE


def test_what_stands_still_is_late_after_a_while() -> None:
    lateness = Lateness(T - 3600 * NS, T)
    assert lateness.look(None, T + HOLD_NS - 1) is Verdict.WAIT
    assert lateness.look(None, T + HOLD_NS) is Verdict.LATE


def test_a_source_that_speaks_once_a_minute_is_found_out_later() -> None:
    lateness = Lateness(T - 3600 * NS, T)
    found = [lateness.look(T - 3600 * NS + k * 60 * NS, T + k * 60 * NS) for k in range(1, 5)]
    assert found == [Verdict.LATE, Verdict.LATE, Verdict.WRONG, Verdict.WRONG]


@pytest.mark.parametrize(
    ("state", "synchronised"), [(0, True), (1, True), (4, True), (5, False), (-1, False)]
)
def test_the_time_server_is_known_by_the_systems_word(state: int, synchronised: bool) -> None:
    assert is_synchronised(lambda room: state) is synchronised


def test_a_system_that_does_not_tell_says_no() -> None:
    def missing(room: ctypes.Array[ctypes.c_char]) -> int:
        raise OSError

    assert is_synchronised(missing) is False
    assert is_synchronised() in (True, False)
