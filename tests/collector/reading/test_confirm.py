"""What a connected source stands by is kept again after a minute."""

from __future__ import annotations

import math
from itertools import pairwise

from collector.reading.confirm import Confirm
from historian import NS


def run(confirm: Confirm, start_s: int, end_s: int, *, lead_s: float = 0.0) -> list[tuple[float, int, float]]:
    """Let time pass, the source's clock running along; (arrival, tag, source time) of what is confirmed."""
    found = []
    for half in range(start_s * 2, end_s * 2):
        arrival = half * NS // 2
        confirm.source_at(arrival + int(lead_s * NS), arrival)
        found += [(arrival / NS, tag, time / NS) for tag, time, _, _ in confirm.due(arrival)]
    return found


def test_a_silent_tag_is_confirmed_every_minute_at_the_sources_time() -> None:
    confirm = Confirm()
    confirm.heard(7, 200.0, 0, 0)
    found = run(confirm, 0, 200, lead_s=1.0)
    assert [tag for _, tag, _ in found] == [7, 7, 7]
    arrivals = [a for a, _, _ in found]
    assert arrivals[0] == 60.0
    assert all(57 <= b - a <= 63 for a, b in pairwise(arrivals))
    # Just behind the source's time: a change may still be on its way.
    assert all(-1.5 <= time - arrival <= -0.5 for arrival, _, time in found)


def test_a_tag_that_speaks_is_not_confirmed() -> None:
    confirm = Confirm()
    for s in range(100):
        confirm.heard(7, float(s), 0, s * NS)
        assert run(confirm, s, s + 1) == []


def test_a_value_that_was_old_when_it_came_is_due_at_once() -> None:
    confirm = Confirm()
    confirm.heard(7, 200.0, 0, -3600 * NS)
    assert [tag for _, tag, _ in run(confirm, 0, 5)] == [7]


def test_a_lost_source_stands_by_nothing() -> None:
    confirm = Confirm()
    confirm.heard(7, 200.0, 0, 0)
    confirm.lost()
    assert run(confirm, 0, 200) == []


def test_a_source_whose_time_stands_still_confirms_nothing_new() -> None:
    confirm = Confirm()
    confirm.heard(7, math.nan, 0, 0)
    confirm.source_at(5 * NS, 0)
    times = {t for s in range(200) for _, t, _, _ in confirm.due(s * NS)}
    assert times <= {5 * NS}
