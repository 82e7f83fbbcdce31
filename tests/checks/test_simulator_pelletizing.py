"""The simulated die, knives, water and dryer against printed numbers and other arithmetic."""

from __future__ import annotations

from fractions import Fraction
from math import pi

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simulator.machines.dryer import Dryer, DryerDesign
from simulator.machines.knives import Knives, KnivesDesign
from simulator.machines.melt import POLYMERS
from simulator.machines.quench import DIFFUSIVITY_MM2_S, kept_share
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.water import Water, WaterDesign
from simulator.machines.water_properties import (
    WATER_HEAT_KJ_KG_K,
    WATER_KG_M3,
    evaporation_kg_s,
    saturation_kpa,
    vapour_kj_kg,
)


def test_water_of_forty_degrees() -> None:
    # Density 992.2 kg/m3 and heat capacity 75.29 J/(mol K) at 18.015 g/mol, liquid water at 40 Cel.
    # Source: M. Chaplin, Water Structure and Science, table of water properties (www1.lsbu.ac.uk/water/data1.html).
    assert pytest.approx(992.2, rel=1e-4) == WATER_KG_M3
    assert pytest.approx(75.29 / 18.015, rel=1e-3) == WATER_HEAT_KJ_KG_K


@pytest.mark.parametrize(
    ("cel", "kpa", "within"),
    [
        (10.0, 1.228, 0.005),
        (20.0, 2.339, 0.005),
        (40.0, 7.385, 0.005),
        (60.0, 19.947, 0.005),
        (80.0, 47.415, 0.015),
    ],
)
def test_vapour_pressure(cel: float, kpa: float, within: float) -> None:
    # Source: the same table, vapour pressure in kPa.
    assert saturation_kpa(cel) == pytest.approx(kpa, rel=within)


def test_heat_of_evaporation_at_the_boiling_point() -> None:
    # 40.657 kJ/mol at 100 Cel, 2 256.9 kJ/kg.
    # Source: engineeringtoolbox.com, Water - Thermophysical Properties (page d_162).
    latent = vapour_kj_kg(100.0) - WATER_HEAT_KJ_KG_K * 100.0
    assert latent == pytest.approx(40.657 / 18.015 * 1000.0, rel=0.01)


def test_an_open_tank_dries_as_carriers_formula_says() -> None:
    # W = A (p_w - p_a) 0.089 / Y, still air, kPa and kJ/kg: 2 m2 at 42 Cel in a hall of 20 Cel, worked by hand with
    # table values 8.21 kPa, 2.339 kPa and 2 402 kJ/kg: 4.35e-4 kg/s. Formula from memory (Carrier 1918).
    assert evaporation_kg_s(2.0, 42.0, 20.0) == pytest.approx(2.0 * (8.21 - 2.339) * 0.089 / 2402.0, rel=0.02)


def test_the_waters_rise_in_temperature() -> None:
    # (780/3600)(2.5 * 160 + 100) = 108.3 kW into 22 m3/h of 992.2 kg/m3 and 4.179 kJ/(kg K) (IAPWS, 40 Cel): 4.27 K.
    heat_kw = 780.0 / 3600.0 * (2.5 * 160.0 + 100.0)
    by_hand = heat_kw / (22.0 / 3600.0 * 992.2 * 4.179)
    assert by_hand == pytest.approx(4.27, abs=0.01)
    water = Water(WaterDesign(), start_cel=42.0)
    water.on = True
    for _ in range(300):
        water.step(1.0, Site(), Upsets(), heat_kw, 0.0, 0.0)
    # The tank drifts by a few hundredths in the ten seconds that the ring lags.
    assert water.return_cel - water.supply_cel == pytest.approx(by_hand, abs=0.05)


def test_the_ring_against_an_integrator() -> None:
    """scipy.integrate.solve_ivp (BSD) on the balance of a mixed volume, flow given by the running pump."""
    water = Water(WaterDesign(tank_kg=1e9), start_cel=42.0)
    water.on = True
    for _ in range(60):
        water.step(1.0, Site(), Upsets(), 0.0, 0.0, 0.0)
    stream = 22.0 / 3600.0 * WATER_KG_M3
    supply, start = water.supply_cel, water.return_cel

    def balance(_t: float, cel: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        gained = stream * WATER_HEAT_KJ_KG_K * (supply - cel) + 100.0
        return np.asarray(gained / (water.design.ring_kg * WATER_HEAT_KJ_KG_K))

    solved = solve_ivp(balance, (0, 30), [start], t_eval=range(1, 31), rtol=1e-10, atol=1e-10)
    seen = []
    for _ in range(30):
        water.step(1.0, Site(), Upsets(), 100.0, 0.0, 0.0)
        seen.append(water.return_cel)
    np.testing.assert_allclose(seen, solved.y[0], atol=2e-3)


def test_pellets_counted_one_by_one() -> None:
    """Continuity by counting: in an hour each blade passes each hole so often; the pile weighs what came in."""
    knives = Knives(KnivesDesign())
    knives.running = True
    for _ in range(60):
        knives.step(1.0, Site(), Upsets(), 780.0 / 3600.0, 120, 2.6, 1.0, 46.0, 1.0)
    pellets = Fraction(1607) * 60 * 4 * 120
    assert pellets == 46_281_600
    assert knives.mass_mg == pytest.approx(780e6 / float(pellets), rel=1e-12)
    cylinder_mm3 = pi / 4.0 * 2.6**2 * 1.15 * knives.length_mm
    assert cylinder_mm3 * float(pellets) * 1e-9 == pytest.approx(780.0 / 920.0, rel=1e-12)
    # Ten pellets weigh 168.5 mg and are 3.00 mm long.
    assert 10.0 * knives.mass_mg == pytest.approx(168.5, abs=0.05)
    assert knives.length_mm == pytest.approx(3.00, abs=0.005)


def test_surface_water_dries_by_first_order() -> None:
    # X = 0.04 + (15 - 0.04) exp(-0.9 * 6.5) = 0.083 %, worked by hand, for pellets of 60 Cel at full speed.
    by_hand = 0.04 + 14.96 * np.exp(-0.9 * 6.5)
    assert by_hand == pytest.approx(0.083, abs=5e-4)
    polymer = POLYMERS["LDPE"]
    dryer = Dryer(DryerDesign(slip_percent=0.0), start_cel=40.0)
    dryer.running = True
    for _ in range(300):
        dryer.step(1.0, Site(), Upsets(), polymer, 0.2, polymer.solid_enthalpy_kj_kg(60.0), 46.0)
    assert dryer.moisture_percent == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize("time_s", [0.3, 1.0, 2.5, 5.3, 9.0])
def test_a_cooling_sphere_against_a_finite_difference_solution(time_s: float) -> None:
    """Conduction in a sphere whose surface is kept cold, solved on 400 shells with scipy (BSD)."""
    volume = 18.3
    radius = (0.75 * volume / pi) ** (1.0 / 3.0)
    shells = 400
    width = radius / shells
    edges = np.linspace(0.0, radius, shells + 1)
    volumes = edges[1:] ** 3 - edges[:-1] ** 3

    def conduct(_t: float, heat: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        flux = np.zeros(shells + 1)
        flux[1:-1] = (heat[1:] - heat[:-1]) / width
        flux[-1] = -heat[-1] / (0.5 * width)
        return np.asarray(3.0 * DIFFUSIVITY_MM2_S * np.diff(edges**2 * flux) / volumes)

    solved = solve_ivp(conduct, (0.0, time_s), np.ones(shells), method="LSODA", rtol=1e-6, lband=1, uband=1)
    mean = float(np.sum(solved.y[:, -1] * volumes) / np.sum(volumes))
    assert kept_share(volume, time_s) == pytest.approx(mean, rel=0.02)
