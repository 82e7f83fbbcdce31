"""A doser that does not weigh is told; a refill and a starved hopper are not taken for it."""

from __future__ import annotations

import pytest

from rules.detectors.extrusion.doser import DoserUnweighed
from tests.rules.detectors.extrusion.days import AT_S, unweighed
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged


def test_going_by_speed_for_longer_than_a_refill_is_told():
    began, ended = judged(DoserUnweighed, unweighed())
    assert AT_S + 300 <= begun_s([began]) <= AT_S + 320
    assert "by its speed alone for 5 min" in began.sentence
    assert not ended.active


@pytest.mark.parametrize("seconds", [60, 90, 240])
def test_a_refill_is_no_failure(seconds: int):
    line = EvenLine()
    line.value["doser.mode.state"][AT_S : AT_S + seconds] = 3.0
    line.value["doser.refill.state"][AT_S : AT_S + seconds - 20] = 1.0
    assert judged(DoserUnweighed, line) == []


def test_a_hopper_that_does_not_get_lighter_is_told():
    line = EvenLine()
    line.value["doser.weight.pv"][AT_S:] = 120.0
    found = judged(DoserUnweighed, line)
    assert AT_S + 300 <= begun_s(found) <= AT_S + 480
    assert "lost only 0.0 kg in two minutes" in found[0].sentence


def test_an_even_day_says_nothing():
    assert judged(DoserUnweighed, EvenLine()) == []
    assert judged(DoserUnweighed, EvenLine(), without=("doser.mode.state",)) == []
