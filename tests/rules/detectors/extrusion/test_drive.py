"""An overloaded drive and a cold start are told within seconds; what is usual on a line is not."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.detectors.extrusion.drive import DriveOverload, ExtruderCold
from tests.rules.detectors.extrusion.days import AT_S, cold_start, overloaded
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged


def test_a_high_torque_is_told_after_ten_seconds():
    began, ended = judged(DriveOverload, overloaded())
    assert AT_S + 9 <= begun_s([began]) <= AT_S + 12
    assert "97 % of its rated torque, above 92 %" in began.sentence
    assert not ended.active


def test_a_very_high_torque_is_told_at_once():
    line = EvenLine()
    line.shift("extruder.drive.torque.pv", 60.0, AT_S, AT_S + 3)
    assert AT_S <= begun_s(judged(DriveOverload, line)) <= AT_S + 2


@settings(max_examples=10, deadline=None)
@given(seconds=st.integers(1, 20))
def test_the_delay_is_exact(seconds: int):
    line = EvenLine()
    line.value["extruder.drive.torque.pv"][AT_S : AT_S + seconds] = 97.0
    assert bool(judged(DriveOverload, line)) is (seconds > 10)


def test_a_drive_that_usually_runs_close_to_its_limit_is_not_overloaded_by_a_little():
    line = EvenLine()
    line.shift("extruder.drive.torque.pv", 24.0, 0)  # 88 %
    line.shift("extruder.drive.torque.pv", 5.0, AT_S)  # 93 %
    assert judged(DriveOverload, line) == []
    line.shift("extruder.drive.torque.pv", 5.0, AT_S + 300)  # 98 %
    assert begun_s(judged(DriveOverload, line)) >= AT_S + 300


def test_a_cold_start_is_told_within_fifteen_seconds():
    found = judged(ExtruderCold, cold_start(), block_s=5.0)
    assert 300 <= begun_s(found) <= 315
    assert "barrel zone 2 reads 160 Cel, 40 K below" in found[0].sentence
    assert not found[1].active and begun_s(found[1:]) >= 540


def test_ends_when_the_screw_stands():
    line = cold_start()
    line.value["extruder.screw.speed.pv"][330:] = 0.0
    found = judged(ExtruderCold, line)
    assert found[1].sentence == "The screw no longer turns."


@pytest.mark.parametrize("below_k", [0.0, 10.0, 14.0])
def test_a_start_with_warm_zones_is_none(below_k: float):
    line = EvenLine()
    line.value["extruder.screw.speed.pv"][:300] = 0.0
    line.shift("extruder.zone.1.temp.pv", -below_k, 0, 900)
    assert judged(ExtruderCold, line) == []


def test_a_zone_that_cools_while_the_screw_has_long_turned_is_another_rules_affair():
    line = EvenLine()
    line.shift("extruder.zone.3.temp.pv", -40.0, AT_S)
    assert judged(ExtruderCold, line) == []


def test_a_screw_that_stands_in_a_cold_barrel_is_no_fault():
    line = EvenLine()
    line.value["extruder.screw.speed.pv"][:] = 0.0
    line.shift("extruder.zone.1.temp.pv", -150.0, 0)
    assert judged(ExtruderCold, line) == []
