"""A heater that heats unasked is found; a zone that other things warm is not taken for one."""

from __future__ import annotations

import numpy as np
import pytest

from historian.frame import Series
from rules.detectors.heating.stuck_on import HeaterStuckOn
from rules.finding import Priority
from tests.rules.detectors.heating.days import relay_stuck
from tests.rules.detectors.heating.made import Switched, judged
from tests.rules.detectors.plants import Plates
from tests.rules.detectors.signals import seconds_of, series, states


def test_current_without_output_is_a_relay_that_sticks():
    began, ended = judged(HeaterStuckOn, relay_stuck())
    assert states([began, ended]) == [("filter.plate.2", True), ("filter.plate.2", False)]
    assert began.priority is Priority.HIGH
    assert 600 <= seconds_of(began.time_ns) <= 720  # the dossier of this trade, B3: within two minutes
    assert "6.0 A flow" in began.sentence and "whether that works is not known" in began.sentence


def test_current_without_a_pause_at_part_output_shows_it_sooner():
    plates = Switched(1200)
    plates.stuck[1, 600:] = True  # and the controller has not yet taken its output back
    (found,) = judged(HeaterStuckOn, plates.made())
    assert 620 <= seconds_of(found.time_ns) <= 650
    assert "without a pause although its controller asks for 33 %" in found.sentence


def test_a_heater_that_was_stuck_from_the_first_second_is_known_by_its_peers():
    plates = Switched(300)
    plates.stuck[1] = True
    assert states(judged(HeaterStuckOn, plates.made())) == [("filter.plate.2", True)]


def test_nearly_full_output_leaves_hardly_a_pause():
    plates = Switched(1200)
    plates.out[1] = 95.0
    plates.stuck[1] = True
    assert judged(HeaterStuckOn, plates.made()) == []


@pytest.mark.parametrize(("out", "at_most_s"), [(40.0, 50), (70.0, 50), (85.0, 60)])
def test_the_less_a_heater_should_pause_the_longer_it_is_looked_at(out: float, at_most_s: int):
    plates = Switched(1200)
    plates.out[1] = out
    plates.stuck[1, 600:] = True
    (found,) = judged(HeaterStuckOn, plates.made())
    assert found.subject == "filter.plate.2"
    assert 620 <= seconds_of(found.time_ns) <= 600 + at_most_s


@pytest.mark.parametrize("out", [60.0, 85.0, 89.0, 94.0])
def test_a_sound_heater_at_nearly_full_output_is_none(out: float):
    plates = Switched(1200)
    plates.out[:] = out
    assert judged(HeaterStuckOn, plates.made()) == []


def test_a_relay_that_sticks_in_heat_up_is_found_before_its_plate_arrives():
    plates = Switched(1200)
    falls = np.interp(plates.time_s, [600, 790], [100.0, 62.0])  # as a controller that nears its set-point
    plates.out[:] = falls
    plates.temp[:] = np.interp(plates.time_s, [0, 600, 790], [150.0, 202.0, 215.0])
    plates.stuck[1] = True
    (found,) = judged(HeaterStuckOn, plates.made())
    assert found.subject == "filter.plate.2"
    assert 600 < seconds_of(found.time_ns) <= 720  # the dossier of this trade, B3: within two minutes


def test_a_moment_of_current_at_half_a_percent_of_output_is_no_fault():
    plates = Switched(1200)
    plates.out[1, 600:] = 0.5
    plates.switch()
    assert plates.current[1, 600:].max() > 0
    assert judged(HeaterStuckOn, plates.made()) == []


def test_a_current_that_is_sent_as_what_flowed_last_is_not_believed():
    plates = Plates(1200)  # 6 A all the time, whatever the output
    plates.out[1, 600:] = 0.0
    assert judged(HeaterStuckOn, plates.made()) == []


def test_one_that_burns_out_does_not_show_that_the_currents_of_its_peers_pause():
    plates = Plates(1200)  # 6 A all the time, whatever the output
    plates.open(5, at_s=600)
    assert judged(HeaterStuckOn, plates.made()) == []


def warming(plates: Plates, *zones: int) -> dict[str, Series]:
    """These plates warm by 3.4 K/min at no output for three minutes."""
    rise = np.interp(plates.time_s, [600, 780, 1100], [0, 10, 0])
    for z in zones:
        plates.temp[z - 1] += rise
        plates.out[z - 1] = np.where(rise > 1, 0.0, plates.out[z - 1])
    return plates.made()


def test_without_current_warming_above_the_set_point_at_no_output_shows_it():
    found = judged(HeaterStuckOn, warming(Plates(1600, with_current=False), 2))
    assert states(found) == [("filter.plate.2", True), ("filter.plate.2", False)]
    assert "whether its relay sticks is not proven" in found[0].sentence
    assert seconds_of(found[0].time_ns) <= 780


def test_zones_that_warm_together_are_heated_by_the_melt():
    assert judged(HeaterStuckOn, warming(Plates(1600, with_current=False), *range(1, 9))) == []


def test_a_set_point_step_down_is_no_fault():
    plates = Switched(1600)
    plates.setpoint[:, 600:] -= 30
    fall = np.interp(plates.time_s, [600, 1500], [0, 25])
    plates.temp -= fall
    plates.out[:, 600:] = 0.0
    assert judged(HeaterStuckOn, plates.made()) == []


def test_a_barrel_zone_that_the_screw_overheats_draws_no_current():
    time_s = np.arange(1500.0)
    rise = np.interp(time_s, [600, 1000], [0, 15])
    signals = {}
    for zone in (1, 2, 3):
        prefix, mine = f"extruder.zone.{zone}", rise if zone == 2 else 0 * rise
        out = np.where(mine > 1, -40.0, 15.0)
        on = (time_s % 10) < out / 10
        signals |= {
            f"{prefix}.temp.pv": series(time_s, 200 + mine),
            f"{prefix}.temp.sp": series(time_s[::60], 200.0),
            f"{prefix}.out": series(time_s, out),
            f"{prefix}.i": series(time_s, np.where(on, 22.5, 0.0)),
        }
    assert judged(HeaterStuckOn, signals) == []
