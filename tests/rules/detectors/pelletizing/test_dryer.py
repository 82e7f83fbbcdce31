"""A dryer that labours, jams or gets no pellets is told; less feed and an uneven one are not."""

from __future__ import annotations

import pytest

from rules.detectors.pelletizing.dryer import DryerOverload
from rules.finding import Priority
from tests.rules.detectors.extrusion.days import AT_S, starved
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged
from tests.rules.detectors.pelletizing.days import jammed

CURRENT = "dryer.current.pv"


def test_labours_then_jams_then_is_over():
    found = judged(DryerOverload, jammed())
    assert [(f.active, f.priority) for f in found] == [
        (True, Priority.MEDIUM),
        (True, Priority.HIGH),
        (False, Priority.HIGH),
    ]
    assert AT_S + 30 <= begun_s(found) <= AT_S + 60
    assert "18" in found[0].sentence.split(" A ")[0] or "17" in found[0].sentence.split(" A ")[0]
    assert AT_S + 120 <= begun_s(found[1:]) <= AT_S + 126 and "is jamming" in found[1].sentence


def test_pellets_that_no_longer_come_are_told_at_once():
    line = EvenLine()
    line.scale(CURRENT, 0.7, AT_S)
    found = judged(DryerOverload, line)
    assert AT_S + 3 <= begun_s(found) <= AT_S + 6
    assert "pellets hardly reach it" in found[0].sentence


def test_a_short_peak_is_none():
    line = EvenLine()
    line.scale(CURRENT, 1.2, AT_S, AT_S + 25)
    assert judged(DryerOverload, line) == []


def test_less_feed_needs_less_current():
    line = EvenLine()
    for path in ("doser.rate.pv", "doser.rate.sp"):
        line.scale(path, 0.6, AT_S)
    line.scale(CURRENT, 0.8, AT_S + 60)
    assert judged(DryerOverload, line) == []


def test_a_starved_screw_is_another_rules_affair():
    line = starved()
    line.scale(CURRENT, 0.75, AT_S + 60, AT_S + 400)
    assert judged(DryerOverload, line) == []


@pytest.mark.parametrize("seed", range(3))
def test_an_even_day_says_nothing(seed: int):
    assert judged(DryerOverload, EvenLine(seed=seed)) == []
