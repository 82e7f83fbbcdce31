"""When faults can first be seen: against a twin on the played line, by their own arithmetic on sensors and sources."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from historian.frame import NS
from simulator.course import Run
from simulator.faults import FAULTS, FaultOrder, FaultsUnderWay
from simulator.gauges import signals_of
from simulator.json_file import write_json
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Label, Scenario, Step
from simulator.truth import first_visible_s, truth_entries
from simulator.witness import Witness

T0_NS = 1_900_000_000 * NS
INLET = "filter.inlet.pressure.pv"
# The line runs evenly from here on.
RUNNING_S = 6400

# A line that is heated up, and nothing more.
COLD = Scenario("cold", "heating up", seed=4, duration_s=400.0, steps=(Step(5.0, "heating on"),))


@pytest.fixture(scope="module")
def running(trial_day: Scenario) -> Run:
    """A line in production; tests take forks of it."""
    run = Run(trial_day.without_faults())
    run.advance(RUNNING_S)
    assert run.plant.flow_kg_h > 500.0
    return run


def _with(run: Run, orders: Sequence[FaultOrder]) -> Run:
    """A fork of a run without faults, with these to come."""
    other = run.fork("")
    other.scenario = replace(run.scenario, faults=tuple(orders))
    other._faults = FaultsUnderWay(orders)
    return other


def _seen(
    run: Run, orders: Sequence[FaultOrder], until_s: int, *, with_faults: bool = True
) -> Mapping[str, int]:
    """What is seen of faults, all of which begin later."""
    witness = Witness(
        _with(run, orders if with_faults else ()),
        orders,
        signals_of=signals_of,
        afresh=lambda _id: run,
        seed=run.scenario.seed,
        scatter=True,
    )
    witness.advance(until_s)
    return witness.first_visible_s


def _order(fault: str, **more: Any) -> FaultOrder:
    return FaultOrder("x", fault, RUNNING_S + 10.0, **more)


@pytest.mark.parametrize(
    ("order", "within_s"),
    [
        # The heater draws no current in its next on-time.
        (_order("plate_open", place=3), 12),
        (_order("plate_taken_out", place=3), 0),
        (_order("barrel_probe_break", place=2), 1),
        (_order("phase_loss"), 12),
        (_order("screen_torn"), 3),
        (_order("melt_line_restricted"), 3),
        (_order("thinner_melt"), 90),
        (_order("throat_bridge"), 30),
        (_order("wet_feed"), 60),
        (_order("knife_pressure_loss"), 5),
        (_order("water_pump_loss"), 3),
        (_order("park_sensor_dead"), 2),
    ],
)
def test_a_fault_of_the_running_line_is_seen_soon_after_its_onset(
    running: Run, order: FaultOrder, within_s: int
) -> None:
    seen = _seen(running, [order], int(order.onset_s) + within_s)
    assert 0 <= seen["x"] - order.onset_s <= within_s


def test_a_skipped_cleaning_is_seen_when_the_wiper_of_the_twin_starts(running: Run) -> None:
    order = _order("cleaning_skipped")
    sound = running.fork("")
    sound.advance(int(order.onset_s))
    while sound.plant.filter.state:
        sound.advance(sound.second + 1)
    while not sound.plant.filter.state:
        sound.advance(sound.second + 1)
    order = replace(order, onset_s=sound.second - 30.0)
    assert _seen(running, [order], sound.second + 20) == {"x": sound.second}


def test_a_ramp_is_seen_later_than_a_step_and_a_small_fault_later_than_a_large_one(running: Run) -> None:
    def after_s(**more: Any) -> int:
        return _seen(running, [_order("melt_line_restricted", **more)], RUNNING_S + 200)["x"]

    assert after_s() < after_s(ramp_s=120.0) < after_s(ramp_s=120.0, severity=0.3)


def test_two_faults_at_once_are_told_apart(running: Run) -> None:
    orders = [
        FaultOrder("one", "screen_torn", RUNNING_S + 10.0, severity=0.5),
        FaultOrder("other", "plate_half", RUNNING_S + 12.0, RUNNING_S + 60.0, place=6),
    ]
    alone = [_seen(running, [order], RUNNING_S + 100)[order.id] for order in orders]
    together = _seen(running, orders, RUNNING_S + 100)
    assert [together["one"], together["other"]] == alone


def test_a_fork_goes_the_same_way_and_leaves_the_run_alone(running: Run) -> None:
    one, other = running.fork(""), running.fork("")
    one.advance(RUNNING_S + 100)
    assert other.second == running.second == RUNNING_S
    other.advance(RUNNING_S + 100)
    ours = {s.path: s.read() for s in signals_of(one.plant)}
    assert ours == {s.path: s.read() for s in signals_of(other.plant)}


def test_a_fault_from_the_first_second_is_seen_against_a_run_that_began_without_it() -> None:
    scenario = replace(COLD, faults=(FaultOrder("cold", "plate_half", 0.0, place=6),))
    assert 5 < first_visible_s(scenario, Run, signals_of)["cold"] < 30


def test_a_fault_that_changes_nothing_is_never_seen() -> None:
    # No melt flows, so a dirty bale brings nothing.
    scenario = replace(COLD, faults=(FaultOrder("bale", "contam_up", 30.0, 60.0),))
    assert first_visible_s(scenario, Run, signals_of) == {}


def test_it_is_long_given_up_when_it_is_not_seen_after_its_end(running: Run) -> None:
    order = _order("soak_short", end_s=RUNNING_S + 12.0)
    witness = Witness(
        _with(running, [order]),
        [order],
        signals_of=signals_of,
        afresh=lambda _id: running,
        seed=1,
        scatter=True,
    )
    witness.advance(RUNNING_S + 20)
    assert len(witness._watched) == 1
    witness.advance(RUNNING_S + 615)
    assert not witness._watched
    assert not witness.first_visible_s


@pytest.mark.parametrize(
    ("order", "after_s"),
    [
        (_order("source_held", end_s=RUNNING_S + 20.0, source="filter"), 0),
        (replace(_order("source_lost", source="filter"), onset_s=RUNNING_S + 10.5), 1),
        (_order("clock_hour", source="line"), 0),
        # 0.2 s of 10 s, in a ramp of 100 s.
        (_order("clock_ahead", ramp_s=100.0, source="line"), 3),
        (_order("clock_ahead", severity=0.01, source="line"), None),
        (_order("sensor_dead", tag=INLET), 0),
        (_order("sensor_zero_up", ramp_s=100.0, tag=INLET), 11),
        (_order("sensor_zero_down", severity=0.5, tag=INLET), 0),
        (_order("sensor_zero_up", severity=0.01, tag=INLET), None),
        # The pressure rises by the second, with a ripple of the screw.
        (_order("sensor_frozen", tag=INLET), 10),
        # It does not move, but its noise is gone.
        (_order("sensor_frozen", tag="filter.plate.1.temp.pv"), 10),
        (_order("sensor_frozen", tag="filter.wipe.dp.sp"), None),
    ],
)
def test_what_the_line_does_not_feel_is_seen_by_its_own_arithmetic(
    running: Run, order: FaultOrder, after_s: int | None
) -> None:
    seen = _seen(running, [order], RUNNING_S + 60, with_faults=False).get("x")
    if after_s is None:
        assert seen is None
    else:
        assert seen is not None
        found = seen - (RUNNING_S + 10)
        assert found == after_s or (order.fault == "sensor_frozen" and found <= after_s)


def test_a_slow_sensor_is_seen_when_the_real_value_has_gone_on() -> None:
    tag = "filter.plate.1.temp.pv"
    orders = [
        FaultOrder("frozen", "sensor_frozen", 300.0, tag=tag),
        FaultOrder("slow", "sensor_slow", 300.0, severity=0.1, tag=tag),
    ]
    # In heat-up a plate gets warmer by some 5 K/min; three sigma are about a third of a kelvin.
    seen = first_visible_s(replace(COLD, faults=tuple(orders)), Run, signals_of)
    assert 300 < seen["frozen"] < seen["slow"] < 330


def test_a_missing_sample_is_seen_when_the_first_one_is_missing(running: Run) -> None:
    rare = replace(_order("samples_missing", severity=0.04, tag=INLET), id="rare")
    often = replace(_order("samples_missing", tag=INLET), id="often")
    seen = _seen(running, [rare, often], RUNNING_S + 400)
    assert 0 <= seen["often"] - RUNNING_S - 10 <= 12
    assert seen["often"] <= seen["rare"]


def test_every_fault_shows_on_a_tag_that_the_line_has(running: Run) -> None:
    paths = {s.path for s in signals_of(running.plant)}
    for name, kind in FAULTS.items():
        if kind.needs_source or name.startswith("pump_"):
            continue
        order = _order(name, place=1 if kind.needs_place else None, tag=INLET if kind.needs_tag else "")
        assert set(kind.tags_of(order)) <= paths, name


def test_the_truth_says_of_each_fault_what_it_is_and_when_it_is_due(tmp_path: Path) -> None:
    labels = (
        Label("p5", "plate 5 burns out", 14490.0, 18000.0, expected_severity=4, must_not_alarm=("B2",)),
        Label("start", "all plates dip", 4800.0, 5400.0, must_stay_quiet=True, must_not_alarm=("B1", "B2")),
        Label("steady", "a mere phase", 7200.0, 9000.0),
    )
    faults = (
        FaultOrder("blinding", "screen_blinding", 9000.0, ramp_s=600.0, severity=0.3),
        FaultOrder("p5", "plate_open", 14490.0, place=5),
        FaultOrder("clock", "clock_hour", 20.0, source="line"),
    )
    scenario = replace(COLD, labels=labels, faults=faults)
    file = tmp_path / "truth.json"
    write_json(file, truth_entries(scenario, {"p5": 14491}, T0_NS))
    entries: list[dict[str, Any]] = json.loads(file.read_text(encoding="utf-8"))
    assert [e["id"] for e in entries] == ["blinding", "p5", "clock", "start"]
    blinding, plate, clock, start = entries
    assert blinding["first_visible_ns"] is None
    assert (blinding["number"], blinding["must_detect_within_s"], blinding["expected_severity"]) == (
        "B11",
        2400,
        2,
    )
    assert plate["first_visible_ns"] == T0_NS + 14_491 * NS
    assert plate["onset_ns"] == T0_NS + 14_490 * NS
    assert plate["tags"] == ["filter.plate.5.temp.pv", "filter.plate.5.out", "filter.plate.5.i"]
    # The label says better than the kind how bad it is, and leaves the rest.
    assert (plate["expected_severity"], plate["must_detect_within_s"]) == (4, 360)
    assert plate["must_not_alarm"] == ["B2"]
    assert (clock["source"], clock["tags"], clock["place"]) == ("line", [], None)
    assert (start["must_stay_quiet"], start["fault"]) == (True, None)
    assert (start["onset_ns"], start["end_ns"]) == (T0_NS + 4800 * NS, T0_NS + 5400 * NS)


def test_a_zero_that_is_off_is_due_once_a_person_has_confirmed_the_zero_state() -> None:
    scenario = load_scenario("film_agglomerate")
    entries = {e["id"]: e for e in truth_entries(scenario, {"GT-L8": 351 * 60, "GT-L4": 237 * 60}, T0_NS)}
    zero, plate = entries["GT-L8"], entries["GT-L4"]
    assert zero["onset_ns"] == T0_NS + 350 * 60 * NS
    assert zero["first_visible_ns"] == T0_NS + 528 * 60 * NS
    # A label that begins with its fault moves nothing; what nobody could see stays unseen.
    assert plate["first_visible_ns"] == T0_NS + 237 * 60 * NS
    unseen = {e["id"]: e for e in truth_entries(scenario, {}, T0_NS)}
    assert unseen["GT-L8"]["first_visible_ns"] is None


def test_what_the_operator_does_wrong_is_in_the_truth_although_nothing_was_injected() -> None:
    scenario = load_scenario("film_agglomerate")
    entries = {e["id"]: e for e in truth_entries(scenario, {}, T0_NS)}
    assert {label.id for label in scenario.labels if label.id.startswith("GT-")} <= set(entries)
    degraded = entries["GT-L4-degraded"]
    assert (degraded["fault"], degraded["number"], degraded["expected_severity"]) == (
        "plate_taken_out",
        "B8",
        2,
    )
    assert degraded["first_visible_ns"] == degraded["onset_ns"] == T0_NS + 262 * 60 * NS
    assert not degraded["must_stay_quiet"]
