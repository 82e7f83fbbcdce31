"""Knives that lose their pressure are told within a minute; a lift at the stop is not."""

from __future__ import annotations

import pytest

from rules.detectors.pelletizing.contact import KnifePressure
from rules.finding import Priority
from tests.rules.detectors.extrusion.days import AT_S
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged
from tests.rules.detectors.pelletizing.days import unpressed

PRESSURE, SPEED = "pelletizer.knife.pressure.pv", "pelletizer.knife.speed.pv"


@pytest.mark.parametrize("without", [(), ("pelletizer.knife.pressure.sp",)])
def test_is_told_within_a_minute(without: tuple[str, ...]):
    began, ended = judged(KnifePressure, unpressed(), without=without)
    assert AT_S + 10 <= begun_s([began]) <= AT_S + 30
    assert began.priority is Priority.HIGH and "3.2 bar are wanted" in began.sentence
    assert not ended.active


def test_a_lift_while_the_knives_run_down_is_no_loss():
    line = EvenLine()
    line.value[PRESSURE][AT_S:] = 0.0
    for n in range(30):
        line.value[SPEED][AT_S + n] = max(0.0, 1607 - 60 * n)
    line.value[SPEED][AT_S + 30 :] = 0.0
    assert judged(KnifePressure, line) == []


@pytest.mark.parametrize(("seconds", "found"), [(9, False), (14, True)])
def test_the_delay(seconds: int, found: bool):
    line = EvenLine()
    line.scale(PRESSURE, 0.5, AT_S, AT_S + seconds)
    assert bool(judged(KnifePressure, line)) is found


def test_an_even_day_says_nothing():
    assert judged(KnifePressure, EvenLine()) == []
