from __future__ import annotations

import time
from math import exp

import pytest

from simulator.filter import WiperState
from simulator.melt import POLYMERS
from simulator.plant import HEAD_TRIP_BAR, Plant, PlantDesign


def _running(*, feed_kg_h: float = 780.0, seconds: int = 3600, scatter: bool = False) -> Plant:
    """A plant at its reference state, heated up and running."""
    plant = Plant(PlantDesign(POLYMERS["LDPE"], scatter=scatter))
    plant.heat(True)
    for _ in range(4800):
        plant.step()
    plant.extruder.feed_setpoint_kg_h = feed_kg_h
    plant.extruder.screw_setpoint_min = 95.0 * feed_kg_h / 780.0
    plant.pelletizer.knife_setpoint_min = 1607.0
    plant.run_screw(True)
    for _ in range(seconds):
        plant.step()
    return plant


@pytest.mark.parametrize("scatter", [False, True])
def test_what_is_fed_leaves_as_product_and_discharge_or_is_held(scatter: bool) -> None:
    plant = _running(scatter=scatter)
    assert plant.filter.wipes > 10
    out_kg = plant.pelletizer.product_kg + plant.filter.discharged_kg + plant.filter.held_kg
    assert plant.fed_kg > 700.0
    assert out_kg == pytest.approx(plant.fed_kg, rel=1e-9)


def test_the_energy_counter_is_the_power_summed_up() -> None:
    plant = _running(seconds=600)
    before, kw_s = plant.extruder.energy_kwh, 0.0
    for _ in range(600):
        plant.step()
        kw_s += plant.extruder.power_kw
    assert plant.extruder.energy_kwh - before == pytest.approx(kw_s / 3600.0, rel=1e-9)


def test_the_reference_state_is_that_of_the_design() -> None:
    # Not an outside check: the figures that the equations were laid out for.
    plant = _running()
    assert plant.extruder.melt_cel == pytest.approx(221.0, abs=2.0)
    assert plant.die_bar == pytest.approx(60.5, abs=1.5)
    assert plant.extruder.torque_percent == pytest.approx(64.0, abs=2.0)
    assert plant.extruder.power_kw / 780.0 == pytest.approx(0.205, abs=0.005)
    assert plant.filter.plates[0].output_percent == pytest.approx(33.0, abs=1.5)
    assert plant.pelletizer.die.output_percent == pytest.approx(61.0, abs=3.0)
    assert plant.pelletizer.return_cel - plant.pelletizer.water_cel == pytest.approx(4.2, abs=0.5)


@pytest.mark.parametrize(("feed_kg_h", "drop"), [(546.0, 0.7), (390.0, 0.5)])
def test_die_pressure_follows_the_power_law(feed_kg_h: float, drop: float) -> None:
    # Power law at a given temperature: p ~ Q^n; the temperature's part, aT^n, is taken out.
    full, less = _running(), _running(feed_kg_h=feed_kg_h)
    melt = POLYMERS["LDPE"]
    at_reference = [p.die_bar / melt.temperature_factor(p.outlet_cel) for p in (full, less)]
    assert at_reference[1] / at_reference[0] == pytest.approx(drop**melt.exponent, rel=0.01)


def test_pressure_difference_recovers_after_a_wipe() -> None:
    plant = _running()
    while plant.filter.state is not WiperState.WIPING:
        plant.step()
    before_bar = plant.difference_bar
    while plant.filter.state is WiperState.WIPING:
        plant.step()
    for _ in range(5):
        plant.step()
    assert before_bar > 44.0
    assert 18.0 < plant.difference_bar < 30.0


def test_without_cleaning_the_line_trips_and_stops_feed_and_screw() -> None:
    plant = _running(seconds=600)
    plant.upsets.trigger_inhibited = True
    highest = 0.0
    for _ in range(3600):
        plant.step()
        highest = max(highest, plant.head_bar)
    assert HEAD_TRIP_BAR < highest < HEAD_TRIP_BAR + 2.0
    assert plant.tripped
    assert not plant.extruder.enabled
    assert (plant.flow_kg_h, plant.extruder.screw_min) == (0.0, 0.0)
    assert plant.head_bar < 1.0
    plant.run_screw(True)
    assert not plant.tripped


def test_pressures_lag_by_a_second_and_a_half() -> None:
    plant = _running()
    held = plant.die_bar
    plant.extruder.flow_kg_h = 0.0
    plant.run_screw(False)
    plant.step()
    assert plant.die_bar == pytest.approx(held * exp(-1.0 / 1.5), rel=0.01)


def test_plates_dip_together_when_the_first_melt_comes() -> None:
    plant = _running(feed_kg_h=400.0, seconds=1)
    lowest = [z.sensed_cel for z in plant.filter.plates]
    for _ in range(600):
        plant.step()
        lowest = [min(a, z.sensed_cel) for a, z in zip(lowest, plant.filter.plates, strict=True)]
    assert all(1.0 < 220.0 - low < 6.0 for low in lowest)
    assert max(lowest) - min(lowest) < 0.1


def test_a_step_is_cheap() -> None:
    plant = _running(seconds=60)
    begun = time.process_time()
    for _ in range(2000):
        plant.step()
    assert (time.process_time() - begun) / 2000 < 250e-6
