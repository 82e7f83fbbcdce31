"""Counts in windows of the site's clock and in sliding ones."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.frame import NS
from rules.review import Spell, Window
from rules.review.rates import HOUR_NS, TEN_MIN_NS, by_clock, clock_edges, days, recorded_s, sliding_count
from tests.rules.review.told import MIDNIGHT, MONTH, at

MADRID = ZoneInfo("Europe/Madrid")


def ns(text: str, zone: ZoneInfo = MADRID) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()) * NS


@pytest.mark.parametrize(
    ("day", "hours"), [("2026-03-28", 24), ("2026-03-29", 23), ("2026-10-25", 25), ("2026-07-01", 24)]
)
def test_a_day_is_as_long_as_the_sites_clock_makes_it(day: str, hours: int) -> None:
    window = Window(ns(f"{day}T06:00"), ns(f"{day}T07:00"))
    midnights = days(window, MADRID)
    assert (midnights[-1] - midnights[0]) == hours * HOUR_NS
    whole = Window(int(midnights[0]), int(midnights[-1]))
    assert len(clock_edges(whole, MADRID, HOUR_NS)) == hours + 1
    assert len(clock_edges(whole, MADRID, TEN_MIN_NS)) == 6 * hours + 1


def test_windows_lie_on_the_sites_clock_even_where_it_is_off_by_a_quarter() -> None:
    kathmandu = ZoneInfo("Asia/Kathmandu")  # UTC+05:45
    window = Window(ns("2026-01-01T08:03", kathmandu), ns("2026-01-01T08:31", kathmandu))
    edges = [datetime.fromtimestamp(e / NS, kathmandu) for e in clock_edges(window, kathmandu, TEN_MIN_NS)]
    assert [f"{e:%H:%M}" for e in edges] == ["08:00", "08:10", "08:20", "08:30", "08:40"]


def test_a_window_that_ends_on_an_edge_does_not_touch_the_next() -> None:
    window = Window(at(600), at(1200))
    assert clock_edges(window, UTC, TEN_MIN_NS).tolist() == [at(600), at(1200)]


@given(st.lists(st.integers(0, 7200), max_size=60))
def test_counts_against_a_count_by_hand(seconds: list[int]) -> None:
    times = np.array(sorted(at(s) for s in seconds), dtype=np.int64)
    window = Window(MIDNIGHT, at(7201))
    counts = by_clock(times, clock_edges(window, UTC, TEN_MIN_NS))
    by_hand = Counter(s // 600 for s in seconds)
    assert counts.count.tolist() == [by_hand[n] for n in range(13)]
    assert counts.most == max(by_hand.values(), default=0)
    sliding = sliding_count(times, TEN_MIN_NS)
    in_order = sorted(seconds)
    assert sliding.tolist() == [
        sum(1 for j, later in enumerate(in_order) if j >= i and later < s + 600)
        for i, s in enumerate(in_order)
    ]
    assert sliding.max(initial=0) >= counts.most, "a sliding window holds at least what a fixed one does"


def test_shares_are_of_windows_with_more_than_the_limit() -> None:
    times = np.array([at(s) for s in [*range(11), *range(600, 610)]], dtype=np.int64)
    counts = by_clock(times, clock_edges(Window(MIDNIGHT, at(6000)), UTC, TEN_MIN_NS))
    assert counts.count.tolist()[:2] == [11, 10]
    assert counts.share_above(10) == 10.0 and counts.share_above(9) == 20.0


def test_windows_without_record_are_left_out_unless_they_hold_alarms() -> None:
    recorded = [Spell(at(0), at(700)), Spell(at(2400), at(3000))]
    times = np.array([at(1900)], dtype=np.int64)  # a list from a panel tells of it
    counts = by_clock(times, clock_edges(Window(MIDNIGHT, at(3600)), UTC, TEN_MIN_NS), recorded)
    assert [(s - MIDNIGHT) // (600 * NS) for s in counts.start_ns.tolist()] == [0, 1, 3, 4]
    assert recorded_s(recorded, MONTH) == 1300


def test_without_any_window_there_is_no_share() -> None:
    none = by_clock(np.array([], dtype=np.int64), clock_edges(Window(MIDNIGHT, at(600)), UTC, TEN_MIN_NS), [])
    assert np.isnan(none.share_above(10)) and none.most == 0
