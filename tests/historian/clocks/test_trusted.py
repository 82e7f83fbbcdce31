"""The edge's clock is believed where it goes on, or something beside it says the same; never a leap alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.clocks.trusted import BACK_NS, JUMP_NS, MADE_NS, Known, consensus, is_zone, trusted_now
from historian.frame import NS

T = 1_900_000_000 * NS
DAY_NS = 86_400 * NS
HOUR_NS = 3600 * NS


@pytest.mark.parametrize("seconds", [0, 1, 3600, 86_400, -60, -600])
def test_a_clock_that_goes_on_is_believed(seconds: int) -> None:
    assert trusted_now(T + seconds * NS, Known(passed_ns=T)).trusted


def test_a_clock_that_is_not_set_is_never_believed() -> None:
    for known in (Known(), Known(synchronised=True), Known(sources_ns=[0], confirmed_ns=0)):
        now = trusted_now(0, known)
        assert "not set" in now.doubt and now.ns == 0


def test_a_leap_ahead_needs_a_word_from_elsewhere() -> None:
    ahead = T + 365 * DAY_NS
    assert "365.0 days ahead" in trusted_now(ahead, Known(passed_ns=T)).doubt
    assert not trusted_now(ahead, Known(passed_ns=T, sources_ns=[T + NS, T])).trusted
    assert not trusted_now(ahead, Known(passed_ns=T, confirmed_ns=T)).trusted
    assert trusted_now(ahead, Known(passed_ns=T, sources_ns=[T, ahead - 5 * NS])).trusted
    assert trusted_now(ahead, Known(passed_ns=T, synchronised=True)).trusted
    assert trusted_now(ahead + 60 * NS, Known(passed_ns=T, confirmed_ns=ahead)).trusted


def test_a_word_of_a_person_holds_no_longer_than_the_clock_goes_on() -> None:
    ahead = T + 365 * DAY_NS
    assert not trusted_now(ahead + 365 * DAY_NS, Known(passed_ns=T, confirmed_ns=ahead)).trusted


def test_a_clock_behind_the_newest_record_is_not_believed() -> None:
    assert "2.0 hours behind" in trusted_now(T - 2 * HOUR_NS, Known(passed_ns=T)).doubt
    said = T - 2 * HOUR_NS
    assert not trusted_now(said, Known(passed_ns=T, sources_ns=[said])).trusted, "one may be on local time"
    assert trusted_now(said, Known(passed_ns=T, sources_ns=[said, said - NS])).trusted
    assert trusted_now(said, Known(passed_ns=T, confirmed_ns=said)).trusted


def test_several_sources_outvote_the_edge_unless_they_are_on_local_time() -> None:
    sources = [T - 5 * HOUR_NS - 1300 * NS, T - 5 * HOUR_NS - 1302 * NS, 0]
    assert "several sources agree" in trusted_now(T, Known(passed_ns=T, sources_ns=sources)).doubt
    local = [T + 2 * HOUR_NS, T + 2 * HOUR_NS - 3 * NS]
    assert trusted_now(T, Known(passed_ns=T, sources_ns=local)).trusted
    assert trusted_now(T, Known(passed_ns=T, sources_ns=[T - 40 * DAY_NS])).trusted, "one is no majority"


def test_a_majority_is_more_than_half_and_at_least_two() -> None:
    assert consensus([]) is consensus([5]) is None
    assert consensus([T, T + 60 * NS, T + 900 * NS]) == T + 60 * NS
    assert consensus([T, T + 1, T + 900 * NS, T + 901 * NS]) is None


@given(st.integers(-56, 56).filter(bool), st.integers(-120 * NS, 120 * NS))
def test_a_zone_is_quarters_of_an_hour(quarters: int, jitter_ns: int) -> None:
    assert is_zone(quarters * 900 * NS + jitter_ns)
    assert not is_zone(jitter_ns)


@given(
    st.integers(-400 * DAY_NS, 400 * DAY_NS),
    st.one_of(st.none(), st.integers(-400 * DAY_NS, 400 * DAY_NS)),
    st.lists(st.integers(-400 * DAY_NS, 400 * DAY_NS), max_size=4),
)
def test_without_another_word_nothing_beyond_a_day_is_believed(
    off_ns: int, confirmed_ns: int | None, sources: list[int]
) -> None:
    """Whatever is said, a believed reading is near what is known to have passed, or near what is said."""
    clock_ns = T + off_ns
    said = [T + s for s in sources]
    confirmed = None if confirmed_ns is None else T + confirmed_ns
    if trusted_now(clock_ns, Known(T, said, confirmed_ns=confirmed)).trusted:
        near = [abs(clock_ns - x) for x in [*said, *([confirmed] if confirmed is not None else [])]]
        goes_on = T - BACK_NS <= clock_ns <= T + JUMP_NS
        assert clock_ns >= MADE_NS and (goes_on or any(n <= JUMP_NS for n in near))
