"""A plate that loses its power is found, whatever shows it; a sound one never is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from historian.frame import Series
from historian.quality import NO_DATA
from rules.detectors.heating.power import HeaterPower
from rules.finding import Finding, Priority
from rules.line import LineFacts, RuleSetting
from tests.rules.detectors.heating.made import Switched, running
from tests.rules.detectors.plants import FACTS, HEATING_K_MIN, NOMINAL_A, PLATES, SETPOINT_CEL, Plates
from tests.rules.detectors.signals import T0_NS, Staged, every, play, seconds_of, series, states, tags_of


def judged(plates: Plates, facts: LineFacts = FACTS) -> list[Finding]:
    signals = plates.made()
    return play(Staged.of(HeaterPower, facts, signals), every(signals, 60))


def test_finds_a_plate_without_current_within_a_minute():
    plates = Plates(1500)
    plates.open(5, at_s=1000)
    (found,) = judged(plates)
    assert (found.subject, found.active, found.priority) == ("filter.plate.5", True, Priority.MEDIUM)
    assert 1019 <= seconds_of(found.time_ns) <= 1045
    assert abs(seconds_of(found.onset_ns) - 1000) <= 15
    assert found.sentence.startswith(
        "Plate 5 is losing heat: no heater current although the controller asks for"
    )
    assert "All seven other plates in use are at set-point" in found.sentence
    assert found.evidence.figures["heater current"] == (0.0, "A")
    assert "filter.plate.5.i" in found.evidence.tags and "filter.plate.4.i" not in found.evidence.tags


def test_a_current_that_the_file_tells_is_not_learnt():
    facts = replace(FACTS, melt_filter=replace(FACTS.melt_filter, heater_a=NOMINAL_A))
    plates = Plates(300)
    plates.open(5, at_s=0)  # dead from the first second: nothing of its own to learn from
    assert states(judged(plates, facts)) == [("filter.plate.5", True)]


def test_the_current_of_a_plate_that_never_had_any_is_learnt_from_its_peers():
    plates = Plates(300)
    plates.current[2] = 0.0
    assert states(judged(plates)) == [("filter.plate.3", True)]


def test_finds_a_plate_by_its_temperature_where_no_current_is_measured():
    plates = Plates(1800, with_current=False)
    plates.open(3, at_s=1000)
    (found,) = judged(plates)
    assert found.subject == "filter.plate.3"
    assert 1120 <= seconds_of(found.time_ns) <= 1360  # six minutes at most
    assert "cannot be told apart" in found.sentence
    assert found.evidence.figures["warming"][0] < -0.5


def test_finds_a_slow_loss_by_full_output_without_effect():
    plates = Plates(3000, with_current=False)
    sinking = np.clip((plates.time_s - 1000) / 60 * 0.3, 0, 8)  # too slow for the missing heating rate
    plates.temp[3] -= sinking
    plates.out[3] = np.where(sinking > 0, 100.0, plates.out[3])
    (found,) = judged(plates)
    assert found.subject == "filter.plate.4"
    assert seconds_of(found.time_ns) > 1000 + 60 * 4 / 0.3
    assert found.evidence.figures["below set-point"][0] > 4


def test_finds_a_plate_that_warms_far_slower_than_its_peers():
    plates = Plates(1500, with_current=False)
    plates.heat_up(rates={6: 0.3 * HEATING_K_MIN})
    (found,) = judged(plates)
    assert found.subject == "filter.plate.6"
    assert "far slower than its peers" in found.sentence


def test_ends_when_current_flows_again():
    plates = Plates(3000)
    plates.open(5, at_s=1000, until_s=1600)
    began, ended = judged(plates)
    assert (began.active, ended.active) == (True, False)
    assert 1659 <= seconds_of(ended.time_ns) <= 1690
    assert ended.sentence == "Plate 5 draws current again."


def test_without_current_ends_after_three_minutes_at_the_set_point():
    plates = Plates(3600, with_current=False)
    plates.open(5, at_s=1000, until_s=1600)
    began, ended = judged(plates)
    near = np.flatnonzero(np.abs(plates.temp[4] - SETPOINT_CEL)[1700:] < 3)[0] + 1700
    assert began.active and not ended.active
    assert near + 170 <= seconds_of(ended.time_ns) <= near + 210


def test_a_plate_taken_out_on_purpose_is_not_judged_and_ends_its_finding():
    plates = Plates(2000)
    plates.open(5, at_s=1000)
    plates.enabled[4, 1300:] = 0.0
    began, ended = judged(plates)
    assert began.active and not ended.active
    assert ended.sentence == "Plate 5 was taken out of use."

    plates = Plates(2000)
    plates.enabled[4, 500:] = 0.0
    plates.open(5, at_s=1000)
    assert judged(plates) == []


@pytest.mark.parametrize("with_current", [True, False])
def test_heating_up_is_no_fault(with_current: bool):
    plates = Plates(3600, with_current=with_current)
    rates = {p: HEATING_K_MIN * (0.95 + 0.012 * p) for p in range(1, PLATES + 1)}
    plates.heat_up(rates=rates)
    assert judged(plates) == []


@pytest.mark.parametrize("with_current", [True, False])
def test_a_dip_of_all_plates_together_is_no_fault(with_current: bool):
    plates = Plates(3000, with_current=with_current)
    dip = np.interp(plates.time_s, [1000, 1150, 1500, 2200], [0, 6, 6, 0])
    plates.temp -= dip
    plates.out = np.where(dip > 0, 100.0, plates.out)
    assert judged(plates) == []


def test_an_open_plate_is_found_during_a_dip_of_all_plates():
    plates = Plates(2500, with_current=False)
    plates.open(5, at_s=1120)
    dip = np.interp(plates.time_s, [1000, 1300, 2200], [0, 4, 0])
    plates.temp -= dip
    plates.out = np.minimum(100, plates.out + 8 * dip)
    assert states(judged(plates)) == [("filter.plate.5", True)]


def test_a_plate_that_dips_a_little_faster_than_the_others_is_no_fault():
    plates = Plates(3000, with_current=False)
    dip = np.interp(plates.time_s, [1000, 1500, 2200], [0, 10, 0])
    plates.temp -= dip
    plates.temp[3] -= 0.5 * dip
    plates.out = np.where(dip > 0, 75.0, plates.out)
    assert judged(plates) == []


def test_a_controller_that_answers_a_common_dip_more_sharply_is_no_fault():
    plates = Plates(3000, with_current=False)
    dip = np.interp(plates.time_s, [1000, 1500, 2200], [0, 10, 0])
    plates.temp -= dip
    plates.out = np.where(dip > 0, 50.0, plates.out)
    plates.out[3] = np.where(dip > 0, 94.0, plates.out[3])
    assert judged(plates) == []


def test_a_plate_is_given_time_after_a_new_set_point():
    plates = Plates(3600, with_current=False)
    plates.setpoint[1, 1000:] += 20.0
    moved = np.clip((plates.time_s - 1400) * HEATING_K_MIN / 60, 0, 20)  # heavy: nothing moves for minutes
    plates.temp[1] += moved
    plates.out[1] = np.where((plates.time_s >= 1000) & (moved < 19), 100.0, plates.out[1])
    assert judged(plates) == []


@pytest.mark.parametrize("step_k", [12.0, -25.0])
def test_a_set_point_step_is_no_fault(step_k: float):
    plates = Plates(3600, with_current=False)
    plates.setpoint[:, 1000:] += step_k
    rate = HEATING_K_MIN if step_k > 0 else -1.5
    moved = np.clip((plates.time_s - 1000) * rate / 60, min(step_k, 0), max(step_k, 0))
    plates.temp += moved
    plates.out = np.where(np.abs(moved) < abs(step_k) - 1, 100.0 if step_k > 0 else 0.0, plates.out)
    plates.out[:, :1000] = 33.0
    assert judged(plates) == []


def test_one_plate_with_a_new_set_point_is_no_fault():
    plates = Plates(3600, with_current=False)
    plates.setpoint[1, 1000:] += 20.0
    moved = np.clip((plates.time_s - 1000) * HEATING_K_MIN / 60, 0, 20)
    plates.temp[1] += moved
    plates.out[1] = np.where((moved > 0) & (moved < 19), 100.0, plates.out[1])
    assert judged(plates) == []


def test_a_source_that_is_silent_in_an_off_part_is_no_burnt_out_heater():
    plates = Switched(1500)
    signals = plates.made()
    others = running(1500)
    tags = {**tags_of(signals, "filter"), **tags_of(others, "extruder")}
    # From second 605 to 785 the filter's samples stop: the last ones are of an off part of the period.
    kept = {p: without(s, 605, 785) for p, s in signals.items()}
    detector = Staged.picked("heater-power", FACTS, tags)
    assert play(detector, every({**kept, **others}, 20)) == []


def without(one: Series, at_s: float, until_s: float) -> Series:
    """A series without the samples of a stretch."""
    after_s = (one.time_ns - T0_NS) / 1e9
    kept = (after_s < at_s) | (after_s >= until_s)
    return Series(one.time_ns[kept], one.value[kept], one.quality[kept])


def test_a_reading_that_sags_while_full_current_flows_is_no_lost_power():
    plates = Switched(2000)
    sag = np.interp(plates.time_s, [1000, 1300, 2000], [0, 8, 8])
    plates.temp[2] -= sag
    plates.out[2] += np.interp(plates.time_s, [1000, 1200], [0, 65])
    assert judged(plates) == []


def test_bad_samples_neither_begin_nor_end_anything():
    plates = Plates(2400)
    plates.open(5, at_s=1000, until_s=1800)
    signals = plates.made()
    lost = {
        path: series(
            (s.time_ns - T0_NS) / 1e9, s.value, np.where(s.time_ns >= T0_NS + 1200 * 10**9, NO_DATA, 0)
        )
        for path, s in signals.items()
        if path.startswith("filter.plate.5")
    }
    found = play(Staged.of(HeaterPower, FACTS, signals), every({**signals, **lost}, 60))
    assert states(found) == [("filter.plate.5", True)]


def test_a_line_of_a_single_zone_is_judged_without_peers():
    time_s = np.arange(600.0)
    signals: dict[str, Series] = {
        "die.zone.1.temp.pv": series(time_s, 225.0 - np.clip(time_s - 300, 0, 300) / 60),
        "die.zone.1.temp.sp": series(time_s[::60], 225.0),
        "die.zone.1.out": series(time_s, 60.0),
        "die.zone.1.i": series(time_s, np.where(time_s < 300, 17.5, 0.0)),
    }
    found = play(Staged.of(HeaterPower, FACTS, signals), every(signals, 60))
    assert states(found) == [("die.zone.1", True)]
    assert found[0].sentence.startswith("Die zone 1 is losing heat")


def test_the_file_sets_priority_advice_and_numbers():
    facts = replace(
        FACTS, rules={"heater-power": RuleSetting(True, "high", "Call Room 7.", {"current_window_s": 60.0})}
    )
    plates = Plates(1500)
    plates.open(5, at_s=1000)
    (found,) = judged(plates, facts)
    assert (found.priority, found.advice) == (Priority.HIGH, "Call Room 7.")
    assert 1059 <= seconds_of(found.time_ns) <= 1085
