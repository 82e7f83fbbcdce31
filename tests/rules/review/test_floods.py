"""Floods: where they start and end, by the clock and at every instant."""

from __future__ import annotations

from datetime import UTC

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from historian.frame import Times
from rules.review import FloodRule, Spell, Window
from rules.review.floods import Flood, floods_by_clock, floods_sliding
from rules.review.rates import TEN_MIN_NS, Counts, by_clock, clock_edges
from tests.rules.review.told import MIDNIGHT, at

WINDOW = Window(MIDNIGHT, at(7200))


def times(*seconds: float) -> Times:
    return np.array(sorted(at(s) for s in seconds), dtype=np.int64)


def counts(some: Times, recorded: list[Spell] | None = None) -> Counts:
    return by_clock(some, clock_edges(WINDOW, UTC, TEN_MIN_NS), recorded)


def test_a_flood_by_the_clock_goes_on_until_the_first_calm_window() -> None:
    some = times(*range(600, 612), *range(1200, 1205), *range(1800, 1804))
    (flood,) = floods_by_clock(some, counts(some))
    assert flood == Flood(at(600), at(1800), 17, 12)
    (longer,) = floods_by_clock(some, counts(some), FloodRule(end_below=4))
    assert longer.end_ns == at(2400)


def test_a_flood_that_the_window_cuts_ends_with_it() -> None:
    some = times(*range(6600, 6620))
    (flood,) = floods_by_clock(some, counts(some))
    assert (flood.start_ns, flood.end_ns, flood.alarms) == (at(6600), at(7200), 20)


def test_a_time_without_record_ends_a_flood() -> None:
    some = times(*range(0, 12), *range(1800, 1812))
    recorded = [Spell(at(0), at(600)), Spell(at(1800), at(7200))]
    assert [f.start_ns for f in floods_by_clock(some, counts(some, recorded))] == [at(0), at(1800)]
    assert [f.end_ns for f in floods_by_clock(some, counts(some, recorded))] == [at(600), at(2400)]


def test_ten_alarms_across_a_full_ten_minutes_flood_in_the_sliding_window_only() -> None:
    some = times(*range(595, 605))
    assert floods_by_clock(some, counts(some)) == []
    (flood,) = floods_sliding(some)
    # It starts with the tenth; the sixth leaves the last ten minutes at 1200 s, and four are left.
    assert (flood.start_ns, flood.end_ns) == (at(604), at(1200))


@given(st.lists(st.integers(0, 3000), max_size=80), st.integers(2, 12), st.integers(1, 12))
def test_the_sliding_flood_against_a_walk_second_by_second(
    seconds: list[int], start: int, below: int
) -> None:
    rule = FloodRule(start, min(start, below))
    flooded, expected = False, set()
    for t in range(0, 3700):
        count = sum(1 for s in seconds if t - 600 < s <= t)
        flooded = count >= rule.end_below if flooded else count >= rule.start_at_least
        if flooded:
            expected.add(t)
    found = {
        t
        for f in floods_sliding(times(*seconds), rule)
        for t in range((f.start_ns - MIDNIGHT) // 10**9, (f.end_ns - MIDNIGHT) // 10**9)
    }
    assert found == expected
