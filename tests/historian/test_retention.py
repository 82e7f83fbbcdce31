"""Retention: nothing goes early, nothing goes that is held or not rolled up, no wrong clock empties a store."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.archive.manifest import DAY_NS, Level, Segment
from historian.errors import WrongInput
from historian.retention import Keep, duration_ns, plan_retention
from historian.rollups.columns import HOUR_NS, MINUTE_NS
from historian.rollups.listed import RollupFile, RollupList, source_of, window_of

DAYS = [Segment(Level.DAY, d * DAY_NS, (d + 1) * DAY_NS, 1, 10, ()) for d in range(100)]
KEEP = Keep.read(raw="30d", minute="60d")


def rolled(segments: list[Segment]) -> RollupList:
    files = []
    for interval_ns in (MINUTE_NS, HOUR_NS):
        windows: dict[tuple[int, int], list[Segment]] = {}
        for s in segments:
            windows.setdefault(window_of(s.start_ns, interval_ns), []).append(s)
        files += [
            RollupFile(f"{interval_ns}/{a}", interval_ns, a, b, 1, "", 1, 1, tuple(map(source_of, inside)))
            for (a, b), inside in windows.items()
        ]
    return RollupList().changed(files)


@given(st.integers(-5, 200), st.integers(-5, 200), st.integers(1, 90))
def test_nothing_goes_before_its_time_by_either_clock(now: int, newest: int, kept: int) -> None:
    plan = plan_retention(
        DAYS, rolled(DAYS), Keep(raw_ns=kept * DAY_NS), now_ns=now * DAY_NS, newest_ns=newest * DAY_NS
    )
    edge = min(now, newest) - kept
    assert plan.segments == tuple(DAYS[: max(edge, 0)])
    assert plan.rollups == () and plan.waiting == ()


def test_a_part_of_a_day_that_is_young_keeps_the_day() -> None:
    at = 40 * DAY_NS
    assert len(plan_retention(DAYS, rolled(DAYS), KEEP, now_ns=at - 1, newest_ns=at).segments) == 9
    assert len(plan_retention(DAYS, rolled(DAYS), KEEP, now_ns=at, newest_ns=at).segments) == 10


def test_what_is_not_rolled_up_in_this_form_waits() -> None:
    at = 40 * DAY_NS
    late = Segment(Level.DAY, DAYS[3].start_ns, DAYS[3].end_ns, 2, 11, ())
    plan = plan_retention([*DAYS[:3], late, *DAYS[4:]], rolled(DAYS), KEEP, now_ns=at, newest_ns=at)
    assert plan.waiting == ((late, "not rolled up yet"),)
    assert late not in plan.segments and len(plan.segments) == 9


def test_rollups_that_would_go_as_well_are_not_waited_for() -> None:
    keep = Keep(raw_ns=10 * DAY_NS, minute_ns=10 * DAY_NS, hour_ns=10 * DAY_NS)
    plan = plan_retention(DAYS, RollupList(), keep, now_ns=20 * DAY_NS, newest_ns=20 * DAY_NS)
    assert len(plan.segments) == 10 and not plan.waiting


def test_what_is_held_stays_in_every_form() -> None:
    at = 200 * DAY_NS
    keep = Keep(raw_ns=DAY_NS, minute_ns=DAY_NS, hour_ns=DAY_NS)
    held = [(5 * DAY_NS + 1, 6 * DAY_NS + 1)]
    plan = plan_retention(DAYS, rolled(DAYS), keep, now_ns=at, newest_ns=at, held=held)
    assert plan.waiting == ((DAYS[5], "held"), (DAYS[6], "held"))
    assert len(plan.segments) == 98
    assert all(f.end_ns <= held[0][0] or f.start_ns >= held[0][1] for f in plan.rollups)


def test_minutes_go_by_their_own_time() -> None:
    plan = plan_retention(DAYS, rolled(DAYS), KEEP, now_ns=65 * DAY_NS, newest_ns=65 * DAY_NS)
    assert [f.start_ns // DAY_NS for f in plan.rollups] == [0, 1, 2, 3, 4]
    assert {f.interval_ns for f in plan.rollups} == {MINUTE_NS}


def test_nothing_goes_when_nothing_is_asked() -> None:
    plan = plan_retention(DAYS, rolled(DAYS), Keep(), now_ns=10**6 * DAY_NS, newest_ns=10**6 * DAY_NS)
    assert plan.segments == () and plan.rollups == ()


@pytest.mark.parametrize("text", ["", "0d", "400", "-3d", "1.5d", "10 years", "d"])
def test_a_duration_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(WrongInput, match="400d"):
        duration_ns(text)
