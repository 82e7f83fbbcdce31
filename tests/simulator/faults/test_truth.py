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
from simulator.faults import FaultOrder
from simulator.gauges import signals_of
from simulator.scenario import Label, Scenario
from simulator.truth import first_visible_s, truth_entries, write_entries
from simulator.witness import Witness

T0_NS = 1_900_000_000 * NS
INLET = "filter.inlet.pressure.pv"


def _without(scenario: Scenario, fault_id: str) -> Scenario:
    return replace(scenario, faults=tuple(o for o in scenario.faults if o.id != fault_id))


@pytest.fixture(scope="module")
def seen(trial_day: Scenario) -> Mapping[str, int]:
    return first_visible_s(trial_day, Run, signals_of)


def test_the_faults_of_the_day_are_seen_soon_after_they_do_something(
    trial_day: Scenario, seen: Mapping[str, int]
) -> None:
    onset_s = {order.id: order.onset_s for order in trial_day.faults}
    assert set(seen) == set(onset_s)
    # The heater draws no current in its next on-time.
    assert 0 <= seen["plate-5"] - onset_s["plate-5"] <= 12
    # A skipped cleaning is one only when it would have come: once in four minutes.
    assert 2 < seen["skipped-cleaning"] - onset_s["skipped-cleaning"] < 300
    # A rest in the holes stays behind after a cleaning, and little of it while the fault grows.
    assert 30 < seen["blinding"] - onset_s["blinding"] < 900


def test_a_skipped_cleaning_is_seen_when_the_wiper_of_the_twin_starts(
    trial_day: Scenario, seen: Mapping[str, int]
) -> None:
    run = Run(_without(trial_day, "skipped-cleaning"))
    start = 9000
    run.advance(start)
    before = run.plant.filter.wipes
    while run.plant.filter.state == 0 and run.plant.filter.wipes == before:
        run.advance(run.second + 1)
    assert seen["skipped-cleaning"] == run.second


def test_a_fork_goes_the_same_way_and_leaves_the_run_alone(trial_day: Scenario) -> None:
    run = Run(replace(trial_day.without_faults(), faults=trial_day.faults[2:]))
    run.advance(6000)
    twin = run.fork("plate-5")
    twin.advance(6300)
    assert run.second == 6000
    run.advance(6300)
    ours = {s.path: s.read() for s in signals_of(run.plant)}
    assert ours == {s.path: s.read() for s in signals_of(twin.plant)}


def test_two_faults_at_once_are_told_apart(trial_day: Scenario) -> None:
    faults = (
        FaultOrder("one", "plate_open", 6000.0, place=2),
        FaultOrder("other", "plate_half", 6010.0, 6200.0, place=6),
    )
    scenario = replace(trial_day, faults=faults, duration_s=6300.0)
    alone = [
        first_visible_s(replace(scenario, faults=(fault,)), Run, signals_of)[fault.id] for fault in faults
    ]
    together = first_visible_s(scenario, Run, signals_of)
    assert [together["one"], together["other"]] == alone


def test_a_fault_from_the_first_second_is_seen_against_a_run_that_began_without_it(
    trial_day: Scenario,
) -> None:
    scenario = replace(trial_day, faults=(FaultOrder("cold", "plate_half", 0.0, place=6),), duration_s=120.0)
    assert 0 < first_visible_s(scenario, Run, signals_of)["cold"] < 20


def test_a_fault_that_changes_nothing_is_never_seen(trial_day: Scenario) -> None:
    # No melt flows yet, so a dirty bale brings nothing.
    scenario = replace(trial_day, faults=(FaultOrder("bale", "contam_up", 600.0, 900.0),), duration_s=1800.0)
    assert first_visible_s(scenario, Run, signals_of) == {}


def _witness(scenario: Scenario, orders: Sequence[FaultOrder], until_s: int) -> Mapping[str, int]:
    """What is seen of faults that the line itself does not feel."""
    run = Run(scenario.without_faults())
    witness = Witness(
        run, orders, signals_of=signals_of, afresh=lambda _id: run, seed=scenario.seed, scatter=True
    )
    witness.advance(until_s)
    return witness.first_visible_s


@pytest.mark.parametrize(
    ("order", "at_s"),
    [
        (FaultOrder("x", "source_lost", 10.5, source="filter"), 11),
        (FaultOrder("x", "source_held", 10.0, 20.0, source="filter"), 10),
        (FaultOrder("x", "clock_hour", 12.0, source="line"), 12),
        # 0.2 s of 10 s, in a ramp of 100 s.
        (FaultOrder("x", "clock_ahead", 10.0, ramp_s=100.0, source="line"), 13),
        (FaultOrder("x", "clock_ahead", 10.0, severity=0.01, source="line"), None),
        (FaultOrder("x", "sensor_dead", 15.0, tag=INLET), 15),
        # Three sigma of this sensor are 1.05 bar; 10 bar in a ramp of 100 s.
        (FaultOrder("x", "sensor_zero_up", 10.0, ramp_s=100.0, tag=INLET), 21),
        (FaultOrder("x", "sensor_zero_down", 10.0, severity=0.5, tag=INLET), 10),
        (FaultOrder("x", "sensor_zero_up", 10.0, severity=0.1, tag=INLET), None),
        # Nothing moves there: no pressure yet.
        (FaultOrder("x", "sensor_frozen", 10.0, tag=INLET), None),
    ],
)  # fmt: skip
def test_what_the_line_does_not_feel_is_seen_by_its_own_arithmetic(
    trial_day: Scenario, order: FaultOrder, at_s: int | None
) -> None:
    assert _witness(trial_day, [order], 60).get("x") == at_s


def test_a_frozen_or_slow_sensor_is_seen_when_the_real_value_has_gone(trial_day: Scenario) -> None:
    tag = "filter.plate.1.temp.pv"
    orders = [
        FaultOrder("frozen", "sensor_frozen", 600.0, tag=tag),
        FaultOrder("slow", "sensor_slow", 600.0, severity=0.1, tag=tag),
    ]
    seen = _witness(trial_day, orders, 700)
    # In heat-up a plate gets warmer by some 5 K/min; three sigma are 0.36 K.
    assert 602 <= seen["frozen"] <= 608
    assert seen["frozen"] < seen["slow"] <= 615


def test_a_missing_sample_is_seen_when_the_first_one_is_missing(trial_day: Scenario) -> None:
    rare = FaultOrder("rare", "samples_missing", 20.0, severity=0.04, tag=INLET)
    often = FaultOrder("often", "samples_missing", 20.0, tag=INLET)
    seen = _witness(trial_day, [rare, often], 900)
    assert 20 <= seen["often"] <= 30
    assert seen["often"] <= seen["rare"] < 900


def test_the_truth_says_of_each_fault_what_it_is_and_when_it_is_due(
    trial_day: Scenario, tmp_path: Path
) -> None:
    labels = (
        Label("plate-5", "plate 5 burns out", 14490.0, 18000.0, expected_severity=4, must_not_alarm=("B2",)),
        Label("start", "all plates dip", 4800.0, 5400.0, must_stay_quiet=True, must_not_alarm=("B1", "B2")),
        Label("steady", "a mere phase", 7200.0, 9000.0),
    )
    scenario = replace(
        trial_day,
        labels=labels,
        faults=(*trial_day.faults[1:], FaultOrder("clock", "clock_hour", 20.0, source="line")),
    )
    file = tmp_path / "truth.json"
    write_entries(file, truth_entries(scenario, {"plate-5": 14491}, T0_NS))
    entries: list[dict[str, Any]] = json.loads(file.read_text(encoding="utf-8"))
    assert [e["id"] for e in entries] == ["blinding", "plate-5", "clock", "start"]
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
