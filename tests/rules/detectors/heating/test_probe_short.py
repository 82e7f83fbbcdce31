"""A shorted or reversed thermocouple is found; a cold zone and a stopped heating are not taken for one."""

from __future__ import annotations

import numpy as np

from rules.detectors.heating.probe_detached import ProbeDetached
from rules.detectors.heating.probe_short import ProbeShort
from rules.finding import Priority
from tests.rules.detectors.heating.days import probe_shorted
from tests.rules.detectors.heating.made import Switched, judged, running
from tests.rules.detectors.plants import HEATING_K_MIN, Plates
from tests.rules.detectors.signals import seconds_of, states


def test_a_reading_that_leaps_to_the_hall_is_a_short():
    began, ended = judged(ProbeShort, probe_shorted())
    assert states([began, ended]) == [("filter.plate.5", True), ("filter.plate.5", False)]
    assert began.priority is Priority.HIGH
    assert seconds_of(began.time_ns) <= 690  # the dossier of this trade, B5: within 90 s
    assert "leapt down to 28 Cel" in began.sentence
    assert "How hot the zone is, is not known" in began.sentence


def test_a_short_is_not_taken_for_a_probe_that_slipped():
    assert judged(ProbeDetached, {**probe_shorted(), **running(1500)}) == []


def test_a_short_that_lasts_stays_one():
    plates = Switched(1600)
    plates.temp[4, 600:] = 28.0
    plates.out[4, 602:] = 100.0
    assert states(judged(ProbeShort, plates.made())) == [("filter.plate.5", True)]


def test_a_zone_that_reads_the_hall_while_its_peers_are_hot_is_a_short():
    plates = Switched(900)
    plates.temp[4] = 30.0  # from the first second: no leap is seen
    plates.out[4] = 100.0
    (found,) = judged(ProbeShort, plates.made())
    assert found.subject == "filter.plate.5"
    assert "while its peers are hot" in found.sentence
    assert seconds_of(found.time_ns) <= 90


def test_a_cold_zone_without_current_is_burnt_out_and_not_shorted():
    plates = Switched(900)
    plates.temp[4], plates.out[4], plates.share[4] = 30.0, 100.0, 0.0
    assert judged(ProbeShort, plates.made()) == []


def test_from_cold_a_reading_that_falls_while_it_is_heated_is_reversed():
    plates = Switched(900)
    plates.heat_up()
    plates.temp[4] = 20.0 - plates.time_s * HEATING_K_MIN / 60 / 6
    plates.out[4] = 100.0
    (found,) = judged(ProbeShort, plates.made())
    assert "reversed" in found.sentence
    assert seconds_of(found.time_ns) <= 90


def test_a_cold_start_is_no_short():
    plates = Switched(1500)
    plates.heat_up()
    assert judged(ProbeShort, plates.made()) == []


def test_a_zone_that_cools_is_no_short():
    plates = Plates(2600)
    plates.out[:, 300:] = 0.0
    plates.temp[:, 300:] = 40 + 180 * np.exp(-(plates.time_s[300:] - 300) / 900)
    assert judged(ProbeShort, plates.made()) == []
