"""The heated zones of a line: which there are, who touches whom, and what ten seconds say of them."""

from __future__ import annotations

import numpy as np
import pytest

from rules.seen.heat import HeatedZones, plausible
from rules.seen.heat_tens import HeatTens
from rules.seen.heater_current import HeaterCurrent
from rules.seen.stage import Stage
from tests.rules.detectors.heating.made import Switched
from tests.rules.detectors.plants import FACTS, Plates
from tests.rules.detectors.signals import every, tags_of


def zones_of(*subjects: str) -> HeatedZones:
    paths = [s + e for s in subjects for e in (".temp.pv", ".temp.sp", ".out")]
    return HeatedZones({p: n for n, p in enumerate(paths)})


def seen(plates: Plates) -> list[HeatTens]:
    signals = plates.made()
    stage = Stage(FACTS, tags_of(signals))
    return [t.heat for block in every(signals, 60) for t in stage.see(block).tens]


def test_zones_stand_by_kind_and_place_and_one_without_number_has_its_name():
    zones = zones_of("extruder.zone.2", "filter.plate.10", "filter.plate.9", "filter.discharge")
    assert zones.names == ("Plate 9", "Plate 10", "Barrel zone 2", "Discharge block")


def test_a_zone_without_output_is_none():
    assert len(HeatedZones({"filter.plate.1.temp.pv": 0})) == 0


def test_plates_touch_in_a_ring_and_barrel_zones_in_a_row():
    plates = zones_of(*(f"filter.plate.{n}" for n in range(1, 5)))
    barrel = zones_of(*(f"extruder.zone.{n}" for n in range(1, 5)))
    assert plates.neighbours[0].tolist() == [False, True, False, True]
    assert barrel.neighbours[0].tolist() == [False, True, False, False]


def test_the_median_of_peers_leaves_the_zone_itself_out():
    zones = zones_of(*(f"filter.plate.{n}" for n in range(1, 5)), "die.zone.1")
    found = zones.of_peers(np.asarray([1.0, 2.0, 3.0, 100.0, 7.0]), np.ones(5, dtype=np.bool_))
    assert found[:4].tolist() == [3.0, 3.0, 2.0, 2.0]
    assert np.isnan(found[4])


def test_the_current_while_on_is_seen_through_the_off_parts():
    plates = Switched(120)
    plates.out[0] = 12.0  # on for little more than a second of ten
    last = seen(plates)[-1]
    assert last.on_a[0] == pytest.approx(6.0)
    assert last.least_a[0] == 0.0


def test_a_heater_that_is_not_asked_shows_no_current():
    plates = Switched(120)
    plates.out[0] = 0.0
    assert np.isnan(seen(plates)[-1].on_a[0])


def test_warming_is_that_of_the_last_two_minutes():
    plates = Plates(600)
    plates.heat_up()
    assert seen(plates)[-1].rate_k_min == pytest.approx(5.0, abs=0.1)


def test_what_no_zone_reaches_is_not_known():
    temp = np.asarray([219.0, 380.0, 700.0, -50.0])
    found = plausible(temp, np.asarray([220.0, 220.0, np.nan, 220.0]))
    assert found[0] == 219.0 and np.isnan(found[1:]).all()


def test_a_zone_and_its_neighbours_settle_until_the_new_set_point_is_held():
    plates = Plates(2000)
    plates.setpoint[2, 600:] += 10
    plates.temp[2] += np.interp(plates.time_s, [600, 900], [0, 10])
    tens = seen(plates)
    during, after = tens[75].settling, tens[120].settling  # seconds 760 and 1210
    assert during[[1, 2, 3]].all() and not during[[0, 4, 5, 6, 7]].any()
    assert not after.any()


def test_what_a_heater_ought_to_draw_is_the_best_it_has_shown_or_its_peers():
    alike = ~np.eye(4, dtype=np.bool_)
    current = HeaterCurrent(alike, np.full(4, np.nan))
    for on in ([6.0, 6.1, 5.9, 3.0], [4.0, 6.1, 5.9, 3.0]):
        for _ in range(12):
            current.take(np.asarray(on))
    assert current.usual_a[0] == pytest.approx(6.0)  # it has shown more than it draws now
    assert current.usual_a[3] == pytest.approx(6.0)  # its peers show what it never did


def test_without_peers_what_the_file_tells_counts():
    current = HeaterCurrent(np.zeros((1, 1), dtype=np.bool_), np.asarray([6.0]))
    assert current.usual_a[0] == 6.0
