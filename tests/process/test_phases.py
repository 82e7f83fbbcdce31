"""A line's day falls into phases, in order and without holes; short spells do not shred them."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from process.features import NS, Features
from process.phase_names import DWELL_S
from process.phases import PhaseTracker, phases_of
from process.steadiness import why_not_steady

T0 = 1_900_000_000 * NS
STEP = 10 * NS
HOT = Features(
    0,
    feed_kg_h=0.0,
    feed_sp_kg_h=0.0,
    screw_per_min=0.0,
    screw_sp_per_min=0.0,
    knife_per_min=0.0,
    knife_sp_per_min=0.0,
    die_bar=0.0,
    melt_cel=100.0,
    most_below_k=0.5,
    farthest_k=0.5,
    hottest_cel=221.0,
    most_out=35.0,
    hot_share=0.0,
    setpoint_sum_cel=1760.0,
    diverter=0.0,
)
COLD = replace(HOT, hottest_cel=22.0, most_out=0.0, most_below_k=198.0, farthest_k=198.0)
HEATING = replace(HOT, hottest_cel=120.0, most_out=100.0, hot_share=1.0, most_below_k=100.0, farthest_k=100.0)
RUNS = replace(
    HOT,
    feed_kg_h=640.0,
    feed_sp_kg_h=640.0,
    screw_per_min=82.0,
    screw_sp_per_min=82.0,
    knife_per_min=1330.0,
    knife_sp_per_min=1330.0,
    die_bar=60.0,
    melt_cel=221.0,
)
EMPTY = replace(RUNS, feed_kg_h=0.0, feed_sp_kg_h=0.0)
WARM_OFF = replace(HOT, most_out=0.0, hottest_cel=180.0, most_below_k=40.0, farthest_k=40.0)


def line(*stretches: tuple[Features, float]) -> list[Features]:
    """Stretches of so many minutes each, one point every ten seconds, with a little scatter."""
    chance = np.random.default_rng(4)
    points: list[Features] = []
    for features, minutes in stretches:
        for _ in range(round(minutes * 6)):
            feed = features.feed_kg_h * (1 + 0.003 * chance.standard_normal())
            time_ns = T0 + (len(points) + 1) * STEP
            points.append(replace(features, time_ns=time_ns, feed_kg_h=feed))
    return points


def names(points: list[Features], planned: float | None = 640.0) -> list[str]:
    return [p.name for p in phases_of(points, planned)]


def test_a_whole_day():
    ramp = [(replace(RUNS, feed_kg_h=f, feed_sp_kg_h=f), 1.0) for f in range(420, 640, 20)]
    day = line((COLD, 5), (HEATING, 45), (HOT, 30), *ramp, (RUNS, 40), (EMPTY, 5), (WARM_OFF, 20), (COLD, 5))
    found = phases_of(day, 640.0)
    assert [p.name for p in found] == [
        "off",
        "heat-up",
        "soak",
        "start",
        "ramp",
        "running",
        "steady",
        "shutdown",
        "off",
    ]
    starts = [(p.start_ns - T0) / NS / 60 for p in found]
    assert starts[1] == pytest.approx(5, abs=0.4)
    assert starts[2] == pytest.approx(50, abs=0.4)
    assert starts[3] == pytest.approx(80, abs=0.4)
    assert starts[7] == pytest.approx(131, abs=0.4)
    assert all(p.reason for p in found)


def test_a_slow_way_to_another_set_point_begins_where_it_was_turned():
    way = [(replace(RUNS, screw_sp_per_min=82 + 0.1 * n), 1 / 6) for n in range(1, 61)]
    found = phases_of(line((HOT, 5), (replace(RUNS, screw_sp_per_min=82.0), 40), *way, (RUNS, 10)), 640.0)
    begun = next(p for p in found if p.name == "ramp" and p.start_ns > T0 + 40 * 60 * NS)
    assert (begun.start_ns - T0) / NS / 60 == pytest.approx(45, abs=0.4)


def test_a_stop_begins_with_its_first_sign():
    """Feed off, screw off, heating off: each for less than a minute."""
    found = phases_of(line((HOT, 5), (RUNS, 40), (EMPTY, 0.6), (HOT, 0.8), (WARM_OFF, 20)), 640.0)
    ended = next(p for p in found if p.name == "steady").end_ns
    assert (ended - T0) / NS / 60 == pytest.approx(45, abs=0.4)


def test_how_sure_a_phase_is_tells_how_much_of_it_shows_its_signs():
    whole = phases_of(line((HOT, 30)), 640.0)
    broken = phases_of(line((HOT, 10), (HEATING, 0.5), (HOT, 10), (HEATING, 0.5), (HOT, 9)), 640.0)
    assert (whole[-1].name, broken[-1].name) == ("soak", "soak")
    assert whole[-1].confidence > 0.99
    assert broken[-1].confidence == pytest.approx(29 / 30, abs=0.02)


def test_phases_follow_each_other_without_holes():
    found = phases_of(line((HEATING, 20), (HOT, 10), (RUNS, 40), (HOT, 10)), 640.0)
    assert all(a.end_ns == b.start_ns for a, b in pairwise(found))
    assert found[0].start_ns == T0 + STEP


def test_steady_needs_a_quarter_of_an_hour_and_ten_steady_minutes():
    found = phases_of(line((HOT, 5), (RUNS, 40)), 640.0)
    steady = next(p for p in found if p.name == "steady")
    assert (steady.start_ns - T0) / NS / 60 == pytest.approx(5 + 15, abs=1.5)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"farthest_k": 8.0}, "a zone is more than 3 K from its set-point"),
        ({"diverter": 1.0}, "the diverter is not on good product"),
        ({"knife_sp_per_min": 1400.0}, "the knife speed was changed"),
        ({"melt_cel": 228.0}, "melt temperature drifts"),
        ({"die_bar": 70.0}, "die pressure drifts"),
        ({"feed_kg_h": float("nan")}, "feed not known"),
    ],
)
def test_what_breaks_steady_running_is_named(change: dict[str, float], reason: str):
    assert why_not_steady(line((RUNS, 10.2))) == ""
    points = line((RUNS, 5), (replace(RUNS, **change), 5.2))  # type: ignore[arg-type]
    assert why_not_steady(points) == reason
    assert names(line((HOT, 2), (RUNS, 40), (replace(RUNS, **change), 9)))[-1] != "steady"  # type: ignore[arg-type]


def test_cleanings_do_not_break_steady_running():
    wiping = replace(RUNS, die_bar=52.0, wiping=True)
    cycles = [s for _ in range(12) for s in ((RUNS, 3.5), (wiping, 0.5))]
    found = names(line((HOT, 2), (RUNS, 16), *cycles))
    assert found[-1] == "steady" and found.count("steady") == 1
    assert (
        why_not_steady(line((RUNS, 4), (replace(wiping, wiping=False), 2), (RUNS, 4.2)))
        == "die pressure scatters"
    )


def test_a_new_set_point_is_a_ramp_of_five_minutes():
    warmer = replace(RUNS, setpoint_sum_cel=RUNS.setpoint_sum_cel + 4)
    found = phases_of(line((HOT, 2), (RUNS, 40), (warmer, 30)), 640.0)
    assert [p.name for p in found][-3:] == ["steady", "ramp", "steady"]
    assert (found[-2].end_ns - found[-2].start_ns) / NS == pytest.approx(300, abs=20)


def test_a_shorter_spell_than_the_dwell_stays_part_of_the_phase():
    assert names(line((HOT, 30), (HEATING, 0.5), (HOT, 30))) == ["soak"]


def test_a_stop_with_warm_zones_is_standby_and_a_long_one_is_not():
    assert names(line((HOT, 5), (RUNS, 40), (HOT, 20)))[-1] == "standby"
    assert "shutdown" in names(line((HOT, 5), (RUNS, 40), (HOT, 80)))


def test_leaving_the_set_point_begins_heating_up_again():
    gone = replace(HOT, farthest_k=9.0, most_below_k=9.0, most_out=90.0, hot_share=1.0)
    assert names(line((HEATING, 20), (HOT, 10), (gone, 10), (HOT, 10))) == [
        "heat-up",
        "soak",
        "heat-up",
        "soak",
    ]


def test_without_data_the_phase_is_not_known():
    nothing = Features(0)
    assert names(line((HOT, 10), (nothing, 10), (HOT, 10))) == ["soak", "unknown", "soak"]
    assert phases_of([], 640.0) == []


def test_without_a_plan_the_highest_set_point_stands_for_it():
    assert "steady" in names(line((HOT, 5), (RUNS, 45)), planned=None)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([COLD, HEATING, HOT, RUNS, EMPTY, WARM_OFF, Features(0)]), st.floats(0.2, 20)
        )
    )
)
def test_whatever_comes_phases_are_in_order_whole_and_long_enough(stretches: list[tuple[Features, float]]):
    points = line(*stretches)
    tracker = PhaseTracker(640.0)
    over = [p for p in map(tracker.push, points) if p is not None]
    assert all(a.end_ns == b.start_ns for a, b in pairwise(over))
    for phase in over[1:]:  # the first may have begun before the data
        assert phase.end_ns - phase.start_ns >= min(DWELL_S[phase.name], 60) * NS * 0.5
    if points:
        present = tracker.present
        assert present is not None and present.end_ns == points[-1].time_ns
        assert present.start_ns == (over[-1].end_ns if over else points[0].time_ns)


def test_another_lot_that_is_noted_is_a_material_change_for_ten_minutes():
    day = line((HOT, 20), (RUNS, 90))
    tracker, found = PhaseTracker(640.0), []
    for n, f in enumerate(day):
        if n == 360:
            tracker.told_of_material(f.time_ns)
        found.append(tracker.push(f))
    over = [p for p in found if p is not None]
    names_of = [p.name for p in over]
    assert names_of[names_of.index("material change") - 1] == "steady"
    (change,) = (p for p in over if p.name == "material change")
    assert change.start_ns == day[360].time_ns and 550 <= (change.end_ns - change.start_ns) / NS <= 620


def test_a_die_pressure_at_another_level_is_proposed_as_another_material():
    stiffer = replace(RUNS, die_bar=69.0)
    scattered = [
        replace(f, die_bar=f.die_bar * (1 + 0.004 * ((n * 7) % 5 - 2)))
        for n, f in enumerate(line((HOT, 20), (RUNS, 60), (stiffer, 30)))
    ]
    (change,) = (p for p in phases_of(scattered, 640.0) if p.name == "material change")
    assert 0 <= (change.start_ns - scattered[480].time_ns) / NS <= 180
    assert "to be confirmed" in change.reason


def test_more_feed_is_no_other_material():
    more = replace(RUNS, feed_kg_h=760.0, feed_sp_kg_h=760.0, die_bar=69.0)
    assert "material change" not in names(line((HOT, 20), (RUNS, 60), (more, 40)))


def test_a_screen_change_lasts_until_the_screw_turns_again():
    day = line((HOT, 20), (RUNS, 60), (HOT, 40), (RUNS, 20))
    tracker, found = PhaseTracker(640.0), []
    for n, f in enumerate(day):
        if n == 500:
            tracker.told_of_screen()
        found.append(tracker.push(f))
    phases = [p for p in found if p is not None]
    (change,) = (p for p in phases if p.name == "screen change")
    assert change.start_ns == day[500].time_ns and abs(change.end_ns - day[720].time_ns) <= 2 * STEP


@settings(max_examples=15, deadline=None)
@given(cut=st.integers(0, 900))
def test_a_restart_changes_no_phase(cut: int):
    day = line((COLD, 5), (HEATING, 30), (HOT, 30), (RUNS, 60), (EMPTY, 5), (WARM_OFF, 20))
    straight, tracker, found = phases_of(day, 640.0), PhaseTracker(640.0), []
    for n, f in enumerate(day):
        if n == cut:
            text = json.dumps(tracker.save(), allow_nan=False)
            tracker = PhaseTracker(640.0)
            tracker.restore(json.loads(text))
        found.append(tracker.push(f))
    assert [p for p in found if p is not None] == straight[:-1]
    assert tracker.present == straight[-1]


def test_a_line_whose_wiper_never_stops_runs_steadily_all_the_same():
    found = phases_of(line((HOT, 5), (replace(RUNS, wiping=True), 40)), 640.0)
    assert [p.name for p in found][-1] == "steady"
