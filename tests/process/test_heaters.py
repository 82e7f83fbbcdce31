"""The heater zone's closed form: worked examples, and the same by small steps."""

from __future__ import annotations

from dataclasses import replace

import pytest

from process.heaters import HeaterZone, Surroundings, missing_rate_k_min

PLATE = HeaterZone(capacity_j_k=27_000, ambient_w_k=4, neighbours_w_k=12, melt_w_k=8, power_w=2400)
AROUND = Surroundings(ambient_cel=22, neighbour_cel=220, melt_cel=222)


def test_the_power_that_holds_a_plate():
    assert PLATE.hold_w(220, AROUND) == pytest.approx(776)
    assert PLATE.hold_w(220, AROUND) / PLATE.power_w == pytest.approx(0.323, abs=5e-4)
    assert PLATE.full_power_k_min == pytest.approx(5.33, abs=5e-3)


def test_the_heating_rate_on_the_way_up():
    all_alike = Surroundings(22, 120, 120)
    assert PLATE.rate_k_min(100, 120, all_alike) == pytest.approx(4.46, abs=5e-3)
    assert PLATE.rate_k_min(776 / 24, 220, AROUND) == pytest.approx(0, abs=1e-12)


def test_a_plate_that_lost_its_power():
    assert PLATE.asymptote_cel(0, AROUND) == pytest.approx(187.7, abs=0.05)
    assert PLATE.time_constant_s == 1125
    assert PLATE.rate_k_min(0, 220, AROUND) == pytest.approx(-1.72, abs=5e-3)
    assert PLATE.temp_cel(600, 220, 0, AROUND) == pytest.approx(206.6, abs=0.05)
    assert PLATE.time_to_s(215, 220, 0, AROUND) == pytest.approx(189, abs=0.5)
    assert PLATE.time_to_s(205, 220, 0, AROUND) == pytest.approx(701, abs=0.5)


def test_without_melt_it_falls_as_fast_at_first_and_farther():
    dry = replace(PLATE, melt_w_k=0)
    assert dry.asymptote_cel(0, AROUND) == pytest.approx(170.5, abs=0.05)
    assert dry.time_constant_s == pytest.approx(1688, abs=0.5)
    assert dry.rate_k_min(0, 220, AROUND) == pytest.approx(-1.76, abs=5e-3)


def test_a_plate_that_cannot_be_switched_off():
    assert PLATE.asymptote_cel(2400, AROUND) == pytest.approx(287.7, abs=0.05)
    assert PLATE.rate_k_min(100, 220, AROUND) == pytest.approx(3.6, abs=0.05)
    assert PLATE.time_to_s(230, 220, 2400, AROUND) == pytest.approx(180, abs=1)


def test_a_temperature_that_is_never_reached_takes_for_ever():
    assert PLATE.time_to_s(180, 220, 0, AROUND) == float("inf")
    assert PLATE.time_to_s(230, 220, 0, AROUND) == float("inf")
    assert PLATE.time_to_s(220, 220, 0, AROUND) == 0


def test_the_closed_form_is_what_small_steps_give():
    temp, step_s = 220.0, 0.5
    for _ in range(1200):
        temp += PLATE.rate_k_min(20, temp, AROUND) / 60 * step_s
    assert temp == pytest.approx(PLATE.temp_cel(600, 220, 480, AROUND), abs=0.01)


@pytest.mark.parametrize("duty", [0.0, 20.0, 60.0, 100.0])
def test_no_rate_is_missing_while_the_heater_obeys(duty: float):
    hold = 100 * PLATE.hold_w(220, AROUND) / PLATE.power_w
    measured = PLATE.rate_k_min(duty, 220, AROUND)
    assert missing_rate_k_min(duty, hold, PLATE.full_power_k_min, measured) == pytest.approx(0, abs=1e-12)


def test_an_open_heater_lacks_what_the_controller_asks_for():
    open_rate = PLATE.rate_k_min(0, 220, AROUND)
    missing = missing_rate_k_min(62.0, 776 / 24, PLATE.full_power_k_min, open_rate)
    assert missing == pytest.approx(0.62 * PLATE.full_power_k_min, abs=1e-9)
