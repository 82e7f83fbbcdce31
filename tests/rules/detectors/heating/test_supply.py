"""What heaters share: a phase that is gone, a voltage that is low; not what befalls one of them."""

from __future__ import annotations

import numpy as np
import pytest

from rules.detectors import detectors_for
from rules.detectors.heating.power import HeaterPower
from rules.detectors.heating.supply import HeaterSupply
from rules.finding import Priority
from tests.rules.detectors.heating.days import phase_gone
from tests.rules.detectors.heating.made import Switched, judged
from tests.rules.detectors.plants import FACTS, Plates
from tests.rules.detectors.signals import seconds_of, states, tags_of


def test_every_third_zone_without_current_at_once_is_a_phase():
    began, ended = judged(HeaterSupply, phase_gone())
    assert states([began, ended]) == [("heating.phases", True), ("heating.phases", False)]
    assert began.priority is Priority.MEDIUM
    assert 600 <= seconds_of(began.time_ns) <= 650  # the dossier of this trade, B9: within five minutes
    assert "plate 1, plate 4 and plate 7" in began.sentence
    assert "every third zone" in began.sentence
    assert "filter.plate.4.i" in began.evidence.tags and "filter.plate.2.i" not in began.evidence.tags


def test_the_zones_of_a_lost_phase_are_not_said_to_be_burnt_out_as_well():
    assert judged(HeaterPower, phase_gone()) == []


def test_two_heaters_that_have_no_phase_in_common_are_said_with_what_is_not_known():
    plates = Switched(1200)
    plates.share[[1, 5], 600:] = 0.0
    (found,) = judged(HeaterSupply, plates.made())
    assert "plate 2 and plate 6" in found.sentence
    assert "a phase, a fuse or a contactor, is not known" in found.sentence


def test_one_heater_is_not_the_supply():
    plates = Switched(1200)
    plates.share[4, 600:] = 0.0
    assert judged(HeaterSupply, plates.made()) == []


def test_two_that_fail_minutes_apart_are_two_heaters():
    plates = Switched(1500)
    plates.share[1, 600:] = 0.0
    plates.share[4, 800:] = 0.0
    assert judged(HeaterSupply, plates.made()) == []
    assert states(judged(HeaterPower, plates.made())) == [("filter.plate.2", True), ("filter.plate.5", True)]


def test_no_current_anywhere_is_said_once():
    plates = Plates(1500)
    plates.current[:, 1000:1300] = 0.0
    began, ended = judged(HeaterSupply, plates.made())
    assert states([began, ended]) == [("heating.phases", True), ("heating.phases", False)]
    assert "None of the eight zones that ask for heat draws current" in began.sentence
    assert seconds_of(began.time_ns) <= 1045


@pytest.mark.parametrize("missing", [0.08, 0.15])
def test_all_currents_lower_by_the_same_share_are_a_low_voltage(missing: float):
    plates = Switched(2000)
    plates.share[:, 800:1500] -= missing
    began, ended = judged(HeaterSupply, plates.made())
    assert states([began, ended]) == [("heating.voltage", True), ("heating.voltage", False)]
    assert 860 <= seconds_of(began.time_ns) <= 900
    # Power goes by the square of the voltage: Ohm's law at constant resistance.
    assert f"about {100 * (1 - missing):.0f} % of their usual current" in began.sentence
    assert f"to about {100 * (1 - missing) ** 2:.0f} %" in began.sentence


def test_a_voltage_within_a_few_percent_is_no_fault():
    plates = Switched(2000)
    plates.share -= 0.03 * np.sin(plates.time_s / 200)[None, :] ** 2
    assert judged(HeaterSupply, plates.made()) == []


def test_some_weak_heaters_are_not_the_supply():
    plates = Switched(2000)
    plates.share[[0, 1, 2], 800:] = 0.67
    assert judged(HeaterSupply, plates.made()) == []


def test_a_line_without_currents_is_not_offered_it():
    tags = tags_of(Plates(60, with_current=False).made())
    assert "heater-supply" not in {d.rule for d in detectors_for(FACTS, tags)}
