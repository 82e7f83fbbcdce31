"""Water that the cooler no longer holds is found by valve and temperature together."""

from __future__ import annotations

import numpy as np
import pytest

from rules.detectors.pelletizing.water_temperature import WaterTemperature
from tests.rules.detectors.extrusion.days import AT_S
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged
from tests.rules.detectors.pelletizing.days import little_water, warm_water

SUPPLY, VALVE = "water.supply.temp.pv", "water.cooler.valve.out"


def test_a_fouled_cooler_is_found_within_twelve_minutes():
    found = judged(WaterTemperature, warm_water())
    assert AT_S < begun_s(found) <= AT_S + 720
    assert "the cooler takes less heat away" in found[0].sentence
    assert found[0].evidence.figures["usual valve"][0] == pytest.approx(44, abs=1)


def test_an_open_valve_on_cold_water_is_found():
    line = EvenLine()
    since = line.time_s[AT_S:] - AT_S
    line.value[VALVE][AT_S:] = 100.0
    line.value[SUPPLY][AT_S:] -= 5 * (1 - np.exp(-since / 600))
    found = judged(WaterTemperature, line)
    assert begun_s(found) <= AT_S + 720
    assert "the valve does not do what the temperature asks for" in found[0].sentence


def test_a_new_probe_that_reads_a_kelvin_more_is_no_fault():
    """The controller answers with a valve that opens a little; the real water gets colder."""
    line = EvenLine(4200)
    since = line.time_s[AT_S:] - AT_S
    line.value[SUPPLY][AT_S:] += 1.0 + 0.6 * np.exp(-since / 900)
    line.value[VALVE][AT_S:] += 16 * (1 - np.exp(-since / 300))
    assert judged(WaterTemperature, line) == []


def test_water_that_is_far_too_warm_is_found_whatever_the_valve_does():
    line = EvenLine()
    line.shift(SUPPLY, 6.0, AT_S)
    found = judged(WaterTemperature, line)
    assert AT_S + 120 <= begun_s(found) <= AT_S + 150


def test_a_valve_at_its_stop_for_ten_minutes_is_found():
    line = EvenLine()
    line.value[VALVE][AT_S:] = 98.0
    found = judged(WaterTemperature, line)
    assert AT_S + 600 <= begun_s(found) <= AT_S + 620
    assert "nothing in reserve" in found[0].sentence


def test_a_changed_set_point_is_awaited():
    line = EvenLine()
    line.value["water.supply.temp.sp"][AT_S:] = 36.0
    assert judged(WaterTemperature, line) == []


def test_little_water_is_another_rules_affair():
    line = little_water()
    line.shift("water.return.temp.pv", 4.0, AT_S, AT_S + 120)
    assert judged(WaterTemperature, line) == []


@pytest.mark.parametrize("seed", range(3))
def test_an_even_day_says_nothing(seed: int):
    assert judged(WaterTemperature, EvenLine(seed=seed)) == []
