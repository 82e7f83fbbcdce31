from __future__ import annotations

from dataclasses import replace

import pytest

from historian.frame import NS
from simulator.chronicle import Chronicle, chronicle
from simulator.run import truth
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Sample

T0_NS = 1_900_000_000 * NS
LAST_S = 130 * 60


@pytest.fixture(scope="module")
def told() -> Chronicle:
    """The story's first two hours, with a bag of ours."""
    scenario = load_scenario("demo_story")
    bag = Sample("B-1", 118 * 60.0, "pellets", ("length", "moisture"), 200 * 60.0)
    return chronicle(replace(scenario, samples=(bag,)), T0_NS, LAST_S)


def test_the_machine_tells_what_its_list_showed(told: Chronicle) -> None:
    assert told.machine
    times = [event.time_ns for event in told.machine]
    assert times == sorted(times)
    assert {event.kind for event in told.machine} == {"machine-alarm"}
    # Each entry that comes goes before it comes again.
    standing: set[str] = set()
    for event in told.machine:
        name = event.data["name"]
        assert event.data["active"] is (name not in standing)
        standing ^= {name}


def test_a_result_comes_when_the_laboratory_has_it_even_after_the_end(told: Chronicle) -> None:
    (result,) = told.laboratory
    assert result.data["bag"] == "B-1"
    assert result.time_ns >= T0_NS + 118 * 60 * NS


def test_its_truth_is_that_of_a_run_without_samples(told: Chronicle) -> None:
    dirty = next(entry for entry in told.truth if entry["id"] == "GT-D1")
    scenario = replace(load_scenario("demo_story"), duration_s=float(LAST_S))
    alone = next(entry for entry in truth(scenario, T0_NS) if entry["id"] == "GT-D1")
    assert dirty == alone
    assert dirty["first_visible_ns"] is not None


def test_events_are_json_types_by_who_says_them(told: Chronicle) -> None:
    events = told.events()
    assert set(events) == {"people", "machine", "laboratory"}
    assert all(set(event) == {"time_ns", "source", "kind", "text", "data"} for event in events["machine"])
    assert {event["kind"] for event in events["people"]} >= {"pre-analysis"}
