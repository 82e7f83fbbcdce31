"""The scenarios that come along: their timelines against the tables of labels that they were written from."""

from __future__ import annotations

import pytest

from simulator.faults import FAULTS
from simulator.scenarios.check import mistakes
from simulator.scenarios.file import load_scenario, scenario_names
from simulator.scenarios.scenario import Scenario

# id, entry of the trade's list of faults, from min, until min, must be found within min
FILM = [
    ("GT-L1", "B2", 0, 545, 25),
    ("GT-L2", "B7", 84, 92, 10 / 60),
    ("start-overridden", "B7", 92, 95, 10 / 60),
    ("GT-L3", "B13", 176, 201, 6),
    ("GT-L4", "B1", 236, 290, 6),
    ("GT-L4-degraded", "B8", 262, 290, 10 / 60),
    ("GT-L5", "B36", 278, 281, 35 / 60),
    ("GT-L6", "B19", 372, 379, 1),
    ("GT-L7", "B24", 426, 439, 3),
    ("GT-L8", "B35", 528, 545, 15),
    ("GT-L9", "B37", 0, 200, 1),
]
BUMPER = [
    ("GT-B1", "B33", 150, 172, 5),
    ("GT-B2", "B26", 172, 299, 100),
    ("GT-B3", "B23", 196, 203, 10),
    ("GT-B4", "B20", 215, 231, 9),
    ("GT-B5", "B6", 250, 475, 30),
    ("GT-B6", "B29", 274, 312, 12),
    ("GT-B7", "B17", 295, 299, 8),
    ("GT-B8", "B22", 413, 418, 2),
    ("GT-B9", "B37", 434, 438, 1),
]
FILM_QUIET = [("NT-1", 92, 104), ("NT-2", 104, 118), ("NT-3", 150, 152)]
BUMPER_QUIET = [("NT-4", 110, 130), ("NT-5", 394, 404)]


@pytest.mark.parametrize(("name", "table"), [("film_agglomerate", FILM), ("bumper_regrind", BUMPER)])
def test_ground_truth_stands_at_its_minutes(name: str, table: list[tuple[str, str, int, int, float]]) -> None:
    labels = [x for x in load_scenario(name).labels if x.expected_severity is not None]
    told = [
        (x.id, FAULTS[x.fault].number, x.from_s / 60, x.until_s / 60, (x.must_detect_within_s or 0.0) / 60)
        for x in labels
    ]
    assert told == [(i, b, float(a), float(z), pytest.approx(w)) for i, b, a, z, w in table]


@pytest.mark.parametrize(
    ("name", "table"), [("film_agglomerate", FILM_QUIET), ("bumper_regrind", BUMPER_QUIET)]
)
def test_what_must_stay_quiet_stands_at_its_minutes(name: str, table: list[tuple[str, int, int]]) -> None:
    quiet = [x for x in load_scenario(name).labels if x.must_stay_quiet]
    assert [(x.id, x.from_s / 60, x.until_s / 60) for x in quiet] == table


# When what is injected begins and ends, where that is not the label's stretch: a repair ends a fault, not a label.
INJECTED = {
    "film_agglomerate": {"GT-L4": (236, 304), "GT-L6": (372, 384), "GT-L7": (426, 437), "GT-L8": (350, None)},
    "bumper_regrind": {
        "GT-B2": (172, 310),
        "GT-B4": (215, 236),
        "GT-B5": (250, None),
        "GT-B7": (295, 308),
    },
}


@pytest.mark.parametrize("name", sorted(INJECTED))
def test_each_fault_is_injected_when_its_label_says_or_until_its_repair(name: str) -> None:
    scenario = load_scenario(name)
    labels = {x.id: x for x in scenario.labels}
    for order in scenario.faults:
        label = labels[order.id]
        assert label.fault == order.fault
        default = (label.from_s / 60, label.until_s / 60 if label.until_s < scenario.duration_s else None)
        onset, end = INJECTED[name].get(order.id, default)
        assert (order.onset_s / 60, None if order.end_s is None else order.end_s / 60) == (onset, end)


@pytest.mark.parametrize(
    ("name", "facts"),
    [
        ("film_agglomerate", ("LDPE", 8, 1178.0, 110.0, 120, 780.0, 95.0, 45.0, 540.0, 22.0, 2.0)),
        ("bumper_regrind", ("PP", 7, 844.0, 160.0, 96, 620.0, 140.0, 38.0, 420.0, 18.0, 3.0)),
    ],
)
def test_the_line_is_the_one_that_was_tried(name: str, facts: tuple[float | str, ...]) -> None:
    s = load_scenario(name)
    line = s.line
    assert facts == (
        s.polymer,
        s.plates,
        line.screen_area_cm2,
        line.fineness_um,
        line.die_holes,
        line.planned_kg_h,
        line.planned_screw_min,
        s.settings["filter.wipe.dp.sp"],
        s.settings["filter.wipe.time.sp"],
        line.wipe_s,
        line.wipe_revs,
    )


def _told(scenario: Scenario) -> list[str]:
    return [s.do for s in scenario.steps]


@pytest.mark.parametrize("name", ["film_agglomerate", "bumper_regrind", "yoghurt_cups", "bottle_flakes"])
def test_a_whole_day_runs_from_cold_to_shutdown_with_everything_that_belongs_to_it(name: str) -> None:
    scenario = load_scenario(name)
    acts = _told(scenario)
    assert acts[0] == "heating on"
    assert acts.index("heating on") < acts.index("screw on")
    ends = {"screw off", "knives off", "heating off", "water off"}
    assert ends <= set(acts[-6:])
    assert any(n.mark == "zero state confirmed" for n in scenario.notes)
    assert scenario.pre_analysis
    assert scenario.customer
    assert {s.place for s in scenario.samples} == {"pellets", "discharge", "feed"}
    assert any(x.must_stay_quiet for x in scenario.labels)
    assert any(x.expected_severity is not None for x in scenario.labels)
    assert any(s.do == "set" and s.at_s > 6000 for s in scenario.steps)


def test_the_scenarios_differ_in_polymer_screen_and_cleaning() -> None:
    lines = {
        n: load_scenario(n) for n in ("film_agglomerate", "bumper_regrind", "yoghurt_cups", "bottle_flakes")
    }
    assert {s.polymer for s in lines.values()} == {"LDPE", "PP", "PS", "HDPE"}
    assert lines["yoghurt_cups"].line.melt_pump
    assert lines["yoghurt_cups"].line.wiper_trigger == "inlet"
    assert lines["yoghurt_cups"].line.blocking == "complete"
    assert lines["bottle_flakes"].line.wiper_trigger == "continuous"
    assert lines["bottle_flakes"].line.blocking == "intermediate"
    for name in ("film_agglomerate", "yoghurt_cups", "bottle_flakes"):
        assert "screen change" in _told(lines[name])


def test_the_demo_tells_its_story_in_a_hundred_minutes() -> None:
    demo = load_scenario("demo_story")
    story = [x for x in demo.labels if x.from_s >= demo.opens_s and x.id != "after"]
    assert story[0].from_s == demo.opens_s
    assert 90 * 60 <= story[-1].until_s - demo.opens_s <= 105 * 60
    assert [x.fault for x in story] == ["", "contam_up", "", "plate_open", "screen_torn"]
    assert [x.must_stay_quiet for x in story] == [True, False, True, False, False]


@pytest.mark.parametrize("name", scenario_names())
def test_what_is_loaded_has_no_mistakes(name: str) -> None:
    assert mistakes(load_scenario(name)) == []
