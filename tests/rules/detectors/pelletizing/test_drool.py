"""Smeared melt is a weak sign: a mark, or minutes of uneasy torque beside a calm die pressure."""

from __future__ import annotations

from rules.detectors.pelletizing.drool import DieDrool
from rules.finding import Priority
from rules.seen.told import DIE_DROOL
from tests.rules.detectors.extrusion.days import AT_S, foaming
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged
from tests.rules.detectors.pelletizing.days import drooling


def test_is_told_after_five_minutes_of_unrest_and_called_a_weak_sign():
    began, ended = judged(DieDrool, drooling())
    assert AT_S + 300 <= begun_s([began]) <= AT_S + 420
    assert began.priority is Priority.LOW and "weak sign" in began.sentence
    assert not ended.active


def test_a_mark_counts_at_once():
    found = judged(DieDrool, EvenLine(), told=[(700.0, DIE_DROOL, float("nan"))])
    assert 700 <= begun_s(found) <= 720
    assert "A person has seen" in found[0].sentence


def test_torque_that_jumps_with_the_die_pressure_is_another_rules_affair():
    line = foaming()
    torque = line.value["pelletizer.knife.torque.pv"]
    torque[AT_S:] = 42 + 3 * (torque[AT_S:] - 42)
    assert all(begun_s([f]) > AT_S + 600 for f in judged(DieDrool, line))


def test_an_even_day_says_nothing():
    assert judged(DieDrool, EvenLine()) == []
