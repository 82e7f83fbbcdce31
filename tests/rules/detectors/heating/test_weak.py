"""A heater that has lost some of its elements is found by its current, else by its need or its pace."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from historian.frame import Series
from rules.detectors.heating.power import HeaterPower
from rules.detectors.heating.weak import HeaterWeak
from rules.finding import Priority
from rules.line import LineFacts, RuleSetting
from tests.rules.detectors.heating.days import element_lost
from tests.rules.detectors.heating.made import Switched, judged, running
from tests.rules.detectors.plants import FACTS, HEATING_K_MIN, Plates
from tests.rules.detectors.signals import seconds_of, states


def test_one_of_three_elements_lost_shows_in_the_current():
    began, ended = judged(HeaterWeak, element_lost())
    assert states([began, ended]) == [("filter.plate.6", True), ("filter.plate.6", False)]
    assert began.priority is Priority.LOW
    assert 560 <= seconds_of(began.time_ns) <= 620
    assert "4.0 A while on, 67 % of the 6.0 A" in began.sentence
    assert began.evidence.figures["heater current"] == (4.02, "A")
    assert seconds_of(ended.time_ns) >= 1100 + 120


def test_a_heater_that_was_weak_from_the_first_second_is_measured_by_its_peers():
    plates = Switched(600)
    plates.share[5] = 0.5
    assert states(judged(HeaterWeak, plates.made())) == [("filter.plate.6", True)]


def test_half_the_power_is_weak_and_not_burnt_out():
    plates = Switched(1500)
    plates.share[5, 600:] = 0.5
    assert states(judged(HeaterWeak, plates.made())) == [("filter.plate.6", True)]
    assert judged(HeaterPower, plates.made()) == []


def test_a_quarter_of_the_power_is_as_good_as_burnt_out():
    plates = Switched(1500)
    plates.share[5, 600:] = 0.25
    assert judged(HeaterWeak, plates.made()) == []
    (found,) = judged(HeaterPower, plates.made())
    assert "only 1.5 A flows" in found.sentence


@pytest.mark.parametrize("scatter", [0.04, 0.08])
def test_heaters_that_were_made_unlike_are_no_fault(scatter: float):
    plates = Switched(1500)
    plates.share *= 1 + scatter * np.linspace(-1, 1, 8)[:, None]
    assert judged(HeaterWeak, plates.made()) == []


def test_a_low_voltage_makes_no_heater_weak():
    plates = Switched(1500)
    plates.share[:, 600:] = 0.8
    assert judged(HeaterWeak, plates.made()) == []


def needing(more: float, neighbours: float = 0.0) -> dict[str, Series]:
    """Plate 6 dips by 3 K and then holds with so many times its output; no current is measured."""
    plates = Plates(2690, with_current=False)
    since = plates.time_s - 1200
    plates.temp[5] -= np.interp(since, [0, 300, 600], [0, 3, 0])
    plates.out[5] *= np.interp(since, [0, 200], [1, more])
    for beside in (4, 6):
        plates.out[beside] += np.interp(since, [0, 600], [0, neighbours])
    return {**plates.made(), **running(2690)}


def test_without_current_far_more_output_at_the_set_point_shows_it():
    # The dossier of this trade, B2: half the power shows as twice the output, neighbours as before.
    signals = needing(2.0)
    assert judged(HeaterWeak, signals) == []  # twenty minutes at the set-point are not over yet
    (found,) = judged(HeaterWeak, signals, _held(900))
    assert found.subject == "filter.plate.6"
    assert "66 % to hold its set-point, where 33 % held it" in found.sentence
    assert "No current is measured" in found.sentence


def test_when_its_neighbours_need_less_it_is_the_probe():
    assert judged(HeaterWeak, needing(2.0, neighbours=-7.0), _held(900)) == []


def test_a_little_more_output_is_no_fault():
    assert judged(HeaterWeak, needing(1.2), _held(900)) == []


def test_without_current_its_pace_in_heat_up_shows_it():
    plates = Plates(2400, with_current=False)
    plates.heat_up(rates={6: 0.68 * HEATING_K_MIN})
    (found,) = judged(HeaterWeak, plates.made())
    assert found.subject == "filter.plate.6"
    assert "its peers faster" in found.sentence
    assert 600 <= seconds_of(found.time_ns) <= 1500  # within 25 minutes of heat-up


def test_plates_that_heat_a_little_unlike_are_no_fault():
    plates = Plates(2400, with_current=False)
    plates.heat_up(rates={p: HEATING_K_MIN * (0.94 + 0.015 * p) for p in range(1, 9)})
    assert judged(HeaterWeak, plates.made()) == []


def _held(seconds: float) -> LineFacts:
    return replace(FACTS, rules={"heater-weak": RuleSetting(numbers={"duty_held_s": seconds})})
