"""The campaign's judgement sees what it is there to see."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from historian.frame import NS, Series
from historian.quality import GOOD, HELD, NO_DATA, UNCERTAIN
from tests.journeys.campaign import FaultKind, as_stamped, not_explicit, not_once, plan

Row = tuple[float, float, int]
SENT = {"a": {k * NS: float(k) for k in range(20)}}


def stored(*rows: Row) -> dict[str, Series]:
    times, values, qualities = zip(*sorted(rows), strict=True)
    return {"a": Series.of([int(t * NS) for t in times], values, qualities)}


def good(*seconds: int) -> list[Row]:
    return [(s, float(s), GOOD) for s in seconds]


def test_all_there_once_is_right_marks_and_held_values_beside() -> None:
    rows = [*good(*range(20)), (5.001, math.nan, NO_DATA), (7.001, 7.0, HELD)]
    assert list(not_once(SENT, stored(*rows))) == []


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (good(*range(10), *range(11, 20)), "1 of 20 samples are missing"),
        (good(*range(20), 7), "1 samples are there twice"),
        ([*good(*range(19)), (19, 3.0, GOOD)], "1 samples have another value"),
        ([*good(*range(20)), (7.5, 7.0, GOOD)], "1 samples were never sent"),
    ],
)
def test_what_is_missing_double_changed_or_invented_is_seen(rows: list[Row], said: str) -> None:
    (found,) = not_once(SENT, stored(*rows))
    assert said in found


def test_a_marked_hole_of_an_outage_is_right() -> None:
    rows = [*good(*range(5), *range(12, 20)), (4.001, math.nan, NO_DATA)]
    assert list(not_explicit(SENT, stored(*rows), [(5 * NS, 6 * NS)], slack_s=6.0)) == []
    (found,) = not_explicit(SENT, stored(*rows), [(5 * NS, 6 * NS)], slack_s=3.0)
    assert "a hole of 8.0 s" in found


def test_a_hole_without_a_mark_is_seen() -> None:
    rows = good(*range(5), *range(12, 20))
    found = list(not_explicit(SENT, stored(*rows), [(5 * NS, 11 * NS)]))
    assert [f.rsplit(" ", 4)[-1] for f in found] == ["marked", "so"]


@pytest.mark.parametrize("count", [6, 100])
def test_a_plan_has_every_kind_and_one_long_cut(count: int) -> None:
    faults = plan(7, count, 3600.0, ["history", "plain", "queue"])
    assert len(faults) == count and {f.kind for f in faults} == set(FaultKind)
    assert sum(f.lasts_s == 120.0 for f in faults) == 1
    assert all(b.at_s >= a.at_s + a.lasts_s for a, b in pairwise(faults))
    assert faults[-1].at_s + faults[-1].lasts_s <= 3600.0
    assert all(0.5 <= f.lasts_s <= 20.0 for f in faults if f.lasts_s != 120.0)


def test_what_was_stored_under_other_times_is_judged_by_those_that_were_stamped() -> None:
    rows = [*good(*range(10)), *((s - 10 + 0.5, float(s), UNCERTAIN) for s in range(10, 20))]
    shifts = Series.of([int(0.2 * NS)], [-9500.0], 0)
    # The first ten came before the shift counts only where they lie before it.
    moved = stored(*rows[:1], *rows[10:])
    seen = {"a": as_stamped(moved["a"], shifts)}
    assert list(not_once({"a": {k * NS: float(k) for k in (0, *range(10, 20))}}, seen)) == []
    assert list(not_once(SENT, stored(*rows))) != []
