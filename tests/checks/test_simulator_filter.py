"""The simulated filter against closed forms and published numbers."""

from __future__ import annotations

import json
from dataclasses import replace
from math import exp, log, pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from simulator.machines.melt import POLYMERS, Polymer
from simulator.machines.screen import BlockingLaw, Screen, ScreenDesign, growth
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.zones import FILTER_PLATE, Zone

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "checks"
needs_shared = pytest.mark.skipif(
    not SHARED.is_dir(), reason="the folder of check values is not beside the project"
)
HALL_CEL = 20.0


def _fluid(consistency: float, exponent: float, density: float) -> Polymer:
    return replace(POLYMERS["LDPE"], consistency_pa_s_n=consistency, exponent=exponent, density_kg_m3=density)


def _tube(bore_m: float, length_m: float, exponent: float) -> Screen:
    """A "screen" that is a single round hole: all of its area is open."""
    design = ScreenDesign(
        area_m2=pi / 4.0 * bore_m**2,
        fineness_um=bore_m * 1.0e6,
        thickness_mm=length_m * 1.0e3,
        open_share=1.0,
    )
    return Screen(design, exponent, "tube")


# ---- a heated zone --------------------------------------------------------------------------------------------


def test_with_a_tiny_heater_node_a_zone_answers_a_step_of_power_after_newton() -> None:
    # Closed form: T = T_hall + P/UA·(1 − exp(−UA·t/C)) (Newton's law of cooling, first-order step response).
    design = replace(FILTER_PLATE, element_kj_k=1e-6, element_kw_k=1e3, limit_cel=1e3)
    zone = Zone(design, "any", start_cel=HALL_CEL, setpoint_cel=0.0, phase_s=0.0)
    zone.enabled = True
    zone.manual_percent = 100.0
    site, upsets = Site(ambient_cel=HALL_CEL), Upsets()
    zone.duty = 1.0
    tau_s = (design.capacity_kj_k - design.element_kj_k) / design.loss_kw_k
    for second in range(1, 7201):
        zone.step(1.0, site, upsets, 0.0)
        if second in {60, 600, 1800, 7200}:
            rise = design.power_kw / design.loss_kw_k * (1.0 - exp(-second / tau_s))
            assert zone.true_cel == pytest.approx(HALL_CEL + rise, abs=0.06)


@pytest.mark.parametrize("dt_s", [0.2, 1.0])
def test_two_nodes_follow_the_exact_two_eigenvalue_solution(dt_s: float) -> None:
    # dx/dt = A·x + b with x = (heater, steel) against the hall; exact: x = x_s + Σ c_k·v_k·exp(λ_k·t), by numpy's
    # eigenvectors of A (linear systems of ordinary differential equations).
    design = FILTER_PLATE
    body = design.capacity_kj_k - design.element_kj_k
    a = np.array(
        [
            [-design.element_kw_k / design.element_kj_k, design.element_kw_k / design.element_kj_k],
            [design.element_kw_k / body, -(design.element_kw_k + design.loss_kw_k) / body],
        ]
    )
    b = np.array([design.power_kw / design.element_kj_k, 0.0])
    values, vectors = np.linalg.eig(a)
    steady = -np.linalg.solve(a, b)
    weights = np.linalg.solve(vectors, -steady)

    zone = Zone(design, "any", start_cel=HALL_CEL, setpoint_cel=0.0, phase_s=0.0)
    zone.enabled = True
    zone.manual_percent = 100.0
    zone.duty = 1.0
    site, upsets = Site(ambient_cel=HALL_CEL), Upsets()
    checked = 0
    for k in range(1, round(1800 / dt_s) + 1):
        zone.step(dt_s, site, upsets, 0.0)
        if k * dt_s in {5.0, 20.0, 60.0, 300.0, 1800.0}:
            exact = steady + vectors @ (weights * np.exp(values * k * dt_s))
            # The steel as it was at the start of a step drives the heater: half a step of its rise, 0.05 K.
            assert zone.element_cel - HALL_CEL == pytest.approx(exact[0], abs=0.12)
            assert zone.true_cel - HALL_CEL == pytest.approx(exact[1], abs=0.12)
            checked += 1
    assert checked == 5


def test_an_open_plate_follows_the_worked_example() -> None:
    # T(t) = T_inf + (T0 − T_inf)·exp(−t/tau), tau = C/(UA + ΣG + h), worked by hand for C 27 kJ/K, UA 4, ΣG 12,
    # h 8 W/K, T0 and neighbours 220, melt 222, hall 22: T_inf 187.7, tau 1125 s, T(10 min) 206.6, −5 K at 189 s.
    design = replace(FILTER_PLATE, capacity_kj_k=27.0, element_kj_k=1e-6, element_kw_k=1e3)
    zone = Zone(design, "any", start_cel=220.0, setpoint_cel=220.0)
    site, upsets = Site(ambient_cel=22.0), Upsets()
    lost_5k_s = 0
    for second in range(1, 20_001):
        t = zone.true_cel
        zone.step(1.0, site, upsets, 0.012 * (220.0 - t) + 0.008 * (222.0 - t))
        if not lost_5k_s and zone.true_cel <= 215.0:
            lost_5k_s = second
        if second == 600:
            assert zone.true_cel == pytest.approx(206.6, abs=0.1)
    assert lost_5k_s == pytest.approx(189, abs=2)
    assert zone.true_cel == pytest.approx(187.7, abs=0.05)


# ---- a clean screen -------------------------------------------------------------------------------------------


def test_round_holes_against_hagen_poiseuille() -> None:
    # A public table of laminar tube flow (microfluidic pressure-drop benchmark, row MPD-0001): bore 0.3 mm,
    # length 0.1 m, 0.1 mL/min of water with 1 mPa·s: 0.838347 kPa.
    water = _fluid(1.0e-3, 1.0, 998.0)
    kg_s = 0.1e-6 / 60.0 * 998.0
    bar = _tube(0.3e-3, 0.1, 1.0).difference_bar(water, kg_s, water.reference_cel, 1.0, 0.0)
    assert bar * 100.0 == pytest.approx(0.838347, rel=1e-5)


def test_round_holes_against_a_textbook_example_of_a_power_law_fluid() -> None:
    # Example 3.1 of a textbook on non-Newtonian flow (Chhabra and Richardson), from memory: a polymer solution,
    # 1075 kg/m³, τ = 3·γ^0.5, 2500 kg/h through 10 m of pipe with a bore of 25 mm: 110 kPa.
    solution = _fluid(3.0, 0.5, 1075.0)
    bar = _tube(0.025, 10.0, 0.5).difference_bar(solution, 2500.0 / 3600.0, solution.reference_cel, 1.0, 0.0)
    assert bar * 100.0 == pytest.approx(110.0, abs=0.6)


@pytest.mark.parametrize("exponent", [0.3, 0.42, 0.7, 1.0])
def test_round_holes_against_the_friction_factor_of_power_law_fluids(exponent: float) -> None:
    # Re = 2^(3−n)·(n/(3n+1))^n·V^(2−n)·D^n·ρ/K, f = 16/Re, Δp = 2·f·ρ·V²·L/D.
    # Source: Metzner and Reed's generalised Reynolds number, as a blog for chemical engineers gives it
    # (cheresources.com, pressure drop of pseudo-plastic fluids in pipes).
    consistency, density, bore, length, speed = 8000.0, 740.0, 110.0e-6, 0.26e-3, 0.025
    reynolds = (
        2.0 ** (3.0 - exponent)
        * (exponent / (3.0 * exponent + 1.0)) ** exponent
        * speed ** (2.0 - exponent)
        * bore**exponent
        * density
        / consistency
    )
    expected_pa = 2.0 * 16.0 / reynolds * density * speed**2 * length / bore
    melt = _fluid(consistency, exponent, density)
    kg_s = speed * pi / 4.0 * bore**2 * density
    bar = _tube(bore, length, exponent).difference_bar(melt, kg_s, melt.reference_cel, 1.0, 0.0)
    assert bar * 1.0e5 == pytest.approx(expected_pa, rel=1e-9)


def test_doubling_the_flow_raises_the_pressure_by_half_at_n_of_0_585() -> None:
    # Problem 3.40 of the solutions to a chemical-engineering textbook (Coulson and Richardson, volume 1):
    # pressure drop times 1.5 when the flow doubles means n = 0.585.
    melt = _fluid(3.0, 0.585, 1000.0)
    tube = _tube(0.07, 2.0, 0.585)
    once = tube.difference_bar(melt, 1.0, melt.reference_cel, 1.0, 0.0)
    twice = tube.difference_bar(melt, 2.0, melt.reference_cel, 1.0, 0.0)
    assert twice / once == pytest.approx(1.5, abs=5e-4)


# ---- blocking laws --------------------------------------------------------------------------------------------

_LAWS = {
    BlockingLaw.CAKE: lambda n: 0.0,
    BlockingLaw.INTERMEDIATE: lambda n: 1.0,
    BlockingLaw.STANDARD: lambda n: 1.0 + 2.0 / (3.0 * n + 1.0),
    BlockingLaw.COMPLETE: lambda n: 1.0 + 1.0 / n,
}


@pytest.mark.parametrize("law", list(BlockingLaw))
@pytest.mark.parametrize("exponent", [1.0, 0.42, 0.36])
def test_regression_finds_the_exponent_of_each_law(law: BlockingLaw, exponent: float) -> None:
    # Hermia's laws at constant flux, dΔP/dv = k·ΔP^m: the slope of ln(dΔP/dv) over ln ΔP is m; for n = 1 that is
    # 0, 1, 3/2, 2. Dirt comes in equal portions; the screen's pressure difference is all that is looked at.
    screen = Screen(replace(ScreenDesign(), law=law), exponent, "any")
    melt = _fluid(8000.0, exponent, 740.0)
    pressures = []
    portion_kg = screen.clean_1_m / screen.design.cake_m_kg * screen.design.area_m2 / 1000.0
    while len(pressures) < 900:
        pressures.append(screen.difference_bar(melt, 0.2, 221.0, 1.0, 0.0))
        screen.catch(portion_kg)
    p = np.array(pressures)
    assert 1.6 < p[-1] / p[0] < 2.0
    slope = np.log((p[2:] - p[:-2]) / 2.0)
    m = np.polyfit(np.log(p[1:-1]), slope, 1)[0]
    assert m == pytest.approx(_LAWS[law](exponent), abs=0.01)


@pytest.mark.shared
@needs_shared
@pytest.mark.parametrize(
    ("law", "order"),
    [
        (BlockingLaw.COMPLETE, "2"),
        (BlockingLaw.STANDARD, "1.5"),
        (BlockingLaw.INTERMEDIATE, "1"),
        (BlockingLaw.CAKE, "0"),
    ],
)
def test_newtonian_laws_against_tabled_pressures(law: BlockingLaw, order: str) -> None:
    # Source: table of dP/dt = k·P·(P/p0)^(m−1) solved for k = 0.001 1/s from 50 bar on, 0 to 300 s.
    table = json.loads((SHARED / "rheo_filtration.json").read_text(encoding="utf-8"))["hermia"]["const_rate"]
    for second, expected in zip(table["t"], table["P"][order], strict=True):
        # All four start with the slope k·p0.
        closed = table["k"] * second
        assert table["p0"] * growth(law, closed, 1.0) == pytest.approx(expected, rel=1e-6)


def test_a_cake_grows_as_ruth_says() -> None:
    # Ruth: R = R_m + α·w with w the dirt held a square metre; checked here by the pressure difference.
    screen = Screen(ScreenDesign(), 0.42, "any")
    melt = POLYMERS["LDPE"]
    clean = screen.difference_bar(melt, 0.2167, 221.0, 1.0, 0.0)
    screen.catch(0.4)
    dirty = screen.difference_bar(melt, 0.2167, 221.0, 1.0, 0.0)
    alpha = ScreenDesign().cake_m_kg
    assert dirty / clean == pytest.approx(1.0 + alpha * 0.4 / 0.1178 / screen.clean_1_m, rel=1e-12)


def test_temperature_shifts_the_pressure_by_the_factor_to_the_n() -> None:
    # At an imposed flow d ln ΔP/dT = −n·Ea/(R·T²): LDPE 0.42·45 kJ/mol at 221 Cel 0.93 %/K (Arrhenius).
    screen = Screen(ScreenDesign(), 0.42, "any")
    melt = POLYMERS["LDPE"]
    low, high = (screen.difference_bar(melt, 0.2167, cel, 1.0, 0.0) for cel in (220.5, 221.5))
    expected = 0.42 * 45.0e3 / (8.314462618 * (221.0 + 273.15) ** 2)
    assert log(low / high) == pytest.approx(expected, rel=1e-4)
    assert sqrt(expected) == pytest.approx(0.0965, abs=1e-4)
