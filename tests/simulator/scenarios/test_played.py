"""The scenarios that come along, played: every start succeeds, nothing trips, the line runs as it was planned."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from simulator.course import Run
from simulator.scenarios.file import load_scenario
from simulator.scenarios.variants import named_variant

# Minutes: when the screw starts; when to look at a line that runs steadily; wipes by then, at least and at most.
DAYS = {
    "demo_story": ([84], 122, (4, 8)),
    "film_agglomerate": ([92, 350, 425, 439.25], 170, (10, 22)),
    "bumper_regrind": ([86, 243, 362], 148, (8, 17)),
    "yoghurt_cups": ([85, 278], 148, (10, 25)),
    "bottle_flakes": ([85, 286], 126, (18, 22)),
}


@dataclass(frozen=True, slots=True)
class Day:
    """What the controls said, and the line at the minute to look at."""

    said: list[tuple[float, str, str]]
    kg_h: float
    melt_cel: float
    head_bar: float
    wipes: int


def _played(name: str, look_min: float, until_min: float | None = None, variant: str = "") -> Day:
    scenario = load_scenario(name)
    if variant:
        scenario = named_variant(scenario, variant)
    run = Run(scenario)
    said: list[tuple[float, str, str]] = []

    def play(until_s: int) -> None:
        while run.second < until_s:
            run.advance(min(until_s, run.second + 60))
            said.extend((m.time_s / 60.0, m.kind, m.text) for m in run.plant.control.take_messages())

    play(round(look_min * 60))
    plant = run.plant
    at = (plant.flow_kg_h, plant.extruder.melt_cel, plant.head_bar, plant.filter.wipes)
    play(round(scenario.duration_s if until_min is None else until_min * 60))
    return Day(said, *at)


@pytest.mark.parametrize(
    "name", [n if n == "demo_story" else pytest.param(n, marks=pytest.mark.long) for n in DAYS]
)
def test_the_day_goes_as_it_is_written(name: str) -> None:
    starts, look_min, (fewest, most) = DAYS[name]
    day = _played(name, look_min)
    wrong = [text for _, kind, text in day.said if kind in ("refused", "tripped")]
    assert wrong == []
    assert [at for at, kind, _ in day.said if kind == "started"] == pytest.approx(starts, abs=0.1)
    line = load_scenario(name).line
    assert day.kg_h == pytest.approx(line.planned_kg_h, rel=0.12)
    assert 205.0 < day.melt_cel < 255.0
    assert 30.0 < day.head_bar < 160.0
    assert fewest <= day.wipes <= most


@pytest.mark.long
@pytest.mark.parametrize("variant", ["faulty:1", "faulty:2", "healthy:1"])
@pytest.mark.parametrize("name", [n for n in DAYS if n != "demo_story"])
def test_a_line_that_is_another_plant_starts_all_the_same(name: str, variant: str) -> None:
    starts, look_min, _ = DAYS[name]
    day = _played(name, look_min + 30.0, variant=variant)
    assert len([1 for _, kind, _ in day.said if kind == "started"]) == len(starts)
    assert [text for _, kind, text in day.said if kind == "tripped"] == []
