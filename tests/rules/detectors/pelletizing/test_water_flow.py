"""Too little water is told within seconds, with what the pressure says of the cause."""

from __future__ import annotations

import pytest

from rules.detectors.pelletizing.water_flow import WaterFlow
from rules.finding import Priority
from tests.rules.detectors.extrusion.days import AT_S
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged
from tests.rules.detectors.pelletizing.days import little_water


@pytest.mark.parametrize(
    ("pressure", "words"), [(1.3, "strainer or nozzles"), (0.2, "the pump may draw air"), (1.0, "not known")]
)
def test_is_told_within_ten_seconds_with_its_cause(pressure: float, words: str):
    line = EvenLine()
    line.scale("water.flow.pv", 0.55, AT_S, AT_S + 120)
    line.scale("water.pressure.pv", pressure, AT_S, AT_S + 120)
    began, ended = judged(WaterFlow, line, block_s=5.0)
    assert AT_S + 4 <= begun_s([began]) <= AT_S + 8
    assert began.priority is Priority.HIGH and words in began.sentence
    assert not ended.active


def test_goes_by_what_is_usual_where_no_set_point_is_known():
    assert begun_s(judged(WaterFlow, little_water(), without=("water.flow.sp",))) <= AT_S + 8


@pytest.mark.parametrize(("seconds", "found"), [(4, False), (5, True)])
def test_the_delay_is_exact(seconds: int, found: bool):
    line = EvenLine()
    line.scale("water.flow.pv", 0.55, AT_S, AT_S + seconds)
    assert bool(judged(WaterFlow, line)) is found


def test_water_that_is_switched_off_after_the_melt_is_no_fault():
    line = EvenLine()
    line.value["extruder.screw.speed.pv"][AT_S:] = 0.0
    line.value["pelletizer.water.state"][AT_S + 60 :] = 0.0
    line.value["water.flow.pv"][AT_S + 60 :] = 0.0
    assert judged(WaterFlow, line) == []


def test_water_that_is_switched_off_while_melt_comes_is_one():
    line = EvenLine()
    line.value["pelletizer.water.state"][AT_S:] = 0.0
    line.value["water.flow.pv"][AT_S:] = 0.0
    assert begun_s(judged(WaterFlow, line)) <= AT_S + 8


def test_knives_that_stand_need_no_water():
    line = EvenLine()
    line.value["pelletizer.knife.speed.pv"][:] = 0.0
    line.value["water.flow.pv"][:] = 0.0
    assert judged(WaterFlow, line) == []
