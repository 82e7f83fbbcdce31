"""Plates that are unevenly warm while melt is moved are said; one alone has rules of its own."""

from __future__ import annotations

import numpy as np

from rules.detectors.heating.plates_uneven import PlatesUneven
from rules.finding import Priority
from tests.rules.detectors.heating.days import one_side_cold
from tests.rules.detectors.heating.made import Switched, judged, running
from tests.rules.detectors.signals import seconds_of, states


def test_a_cold_side_is_said():
    began, ended = judged(PlatesUneven, one_side_cold())
    assert states([began, ended]) == [("filter.plate", True), ("filter.plate", False)]
    assert began.priority is Priority.LOW
    assert 440 <= seconds_of(began.time_ns) <= 640
    assert "coldest" in began.sentence and "is not known" in began.sentence
    assert began.evidence.figures["spread"][0] > 8


def test_one_plate_alone_is_another_rules():
    plates = Switched(1500)
    plates.open(3, at_s=300)
    assert judged(PlatesUneven, {**plates.made(), **running(1500)}) == []


def test_plates_within_the_limit_are_even():
    plates = Switched(1500)
    plates.temp += np.linspace(-3.5, 3.5, 8)[:, None]
    assert judged(PlatesUneven, {**plates.made(), **running(1500)}) == []


def test_while_melt_stands_they_may_differ():
    plates = Switched(1500)
    plates.temp += np.linspace(-20, 20, 8)[:, None]
    assert judged(PlatesUneven, {**plates.made(), **running(1500, from_s=9999)}) == []


def test_plates_with_different_set_points_are_judged_each_by_its_own():
    plates = Switched(1500)
    step = np.linspace(0, 20, 8)[:, None]
    plates.temp += step
    plates.setpoint += step
    assert judged(PlatesUneven, {**plates.made(), **running(1500)}) == []
