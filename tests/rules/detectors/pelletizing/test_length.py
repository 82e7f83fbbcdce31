"""Flow and speed of the knives that do not fit are found; frozen holes and a starved screw are not."""

from __future__ import annotations

import pytest

from rules.detectors.pelletizing.length import PelletLength
from tests.rules.detectors.extrusion.days import AT_S, starved
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged
from tests.rules.detectors.pelletizing.days import frozen, too_fast


def test_knives_off_their_set_point_are_found_within_five_minutes():
    began, ended = judged(PelletLength, too_fast())
    assert AT_S + 60 <= begun_s([began]) <= AT_S + 300
    assert "25 % faster than set" in began.sentence and "20 % shorter" in began.sentence
    assert not ended.active


def test_slower_knives_make_longer_pellets():
    line = EvenLine()
    line.scale("pelletizer.knife.speed.pv", 0.75, AT_S)
    found = judged(PelletLength, line)
    assert "25 % slower than set" in found[0].sentence
    assert found[0].evidence.figures["length against usual"][0] == pytest.approx(33.3, abs=2)


def test_more_feed_without_more_speed_makes_longer_pellets():
    line = EvenLine()
    for path in ("doser.rate.pv", "doser.rate.sp"):
        line.scale(path, 1.25, AT_S)
    found = judged(PelletLength, line)
    assert begun_s(found) <= AT_S + 480
    assert "longer than usual by calculation" in found[0].sentence


def test_more_feed_with_as_much_more_speed_is_sound():
    line = EvenLine()
    for path in ("doser.rate.pv", "doser.rate.sp", "pelletizer.knife.speed.pv", "pelletizer.knife.speed.sp"):
        line.scale(path, 1.25, AT_S)
    assert judged(PelletLength, line) == []


def test_another_length_that_is_wanted_is_sound():
    line = EvenLine()
    for path in ("pelletizer.knife.speed.pv", "pelletizer.knife.speed.sp"):
        line.scale(path, 1.4, AT_S)
    assert judged(PelletLength, line) == []


def test_frozen_holes_and_a_starved_screw_are_other_rules_affairs():
    assert judged(PelletLength, frozen()) == []
    assert judged(PelletLength, starved()) == []
