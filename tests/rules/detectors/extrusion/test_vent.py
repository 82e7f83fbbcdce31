"""A vent is told of by lost vacuum, by a warm dome with its signs, or by a person's mark."""

from __future__ import annotations

import numpy as np

from rules.detectors.extrusion.vent import VentVacuum
from rules.seen.told import VENT_FLOW
from tests.rules.detectors.extrusion.days import AT_S, vented
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged


def climbing() -> EvenLine:
    line = EvenLine(2700)
    since = line.time_s[1800:] - 1800
    line.value["extruder.vent.1.temp.pv"][1800:] += 9 * (1 - np.exp(-since / 250))
    line.value["extruder.vent.1.pressure.pv"][1800:] += since / 4
    return line


def test_lost_vacuum_is_found_after_two_minutes():
    began, ended = judged(VentVacuum, vented())
    assert AT_S + 120 <= begun_s([began]) <= AT_S + 140
    assert "300 mbar absolute, above 250 mbar" in began.sentence
    assert began.onset_ns < began.time_ns - 100 * 10**9
    assert not ended.active


def test_a_short_loss_is_none():
    line = EvenLine()
    line.shift("extruder.vent.1.pressure.pv", 220.0, AT_S, AT_S + 110)
    assert judged(VentVacuum, line) == []


def test_melt_that_climbs_shows_in_dome_and_vacuum():
    found = judged(VentVacuum, climbing())
    assert 1800 < begun_s(found) <= 1800 + 300
    assert "Melt may be climbing into the vent" in found[0].sentence


def test_a_dome_that_warms_by_itself_is_no_sign():
    line = climbing()
    line.value["extruder.vent.1.pressure.pv"][1800:] = 80.0
    assert judged(VentVacuum, line) == []


def test_a_persons_mark_counts_at_once_and_for_half_an_hour():
    found = judged(VentVacuum, EvenLine(3000), told=[(400.0, VENT_FLOW, float("nan"))])
    assert [f.active for f in found] == [True, False]
    assert 400 <= begun_s(found) <= 420
    assert "A person has seen melt in the vent" in found[0].sentence
    assert begun_s(found[1:]) >= 400 + 1800
    assert "Whether it is free is not known" in found[1].sentence


def test_an_even_day_says_nothing():
    assert judged(VentVacuum, EvenLine()) == []
