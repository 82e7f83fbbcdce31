"""The process water: temperatures, flow, cooler, level, and that nothing is lost."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.water import Water, WaterDesign
from tests.support.pellet_line import SITE, PelletLine, running


def _go(
    water: Water, seconds: int, upsets: Upsets, kw: float, *, site: Site = SITE, dt_s: float = 1.0
) -> Water:
    for _ in range(round(seconds / dt_s)):
        water.step(dt_s, site, upsets, kw, 0.0, 0.0)
    return water


@pytest.mark.parametrize(("polymer", "supply", "flow"), [("LDPE", 42.0, 22.0), ("PP", 55.0, 18.0)])
def test_the_slow_integral_brings_the_supply_to_the_set_point(
    polymer: str, supply: float, flow: float
) -> None:
    water = running(polymer).machines.water
    assert water.supply_cel == pytest.approx(supply, abs=0.2)
    assert water.flow_m3_h == pytest.approx(flow, abs=0.01)
    assert 0.2 < water.valve < 0.6


def test_pellets_warm_the_water_by_about_four_kelvin() -> None:
    # 108.3 kW of 780 kg/h into 22 m3/h are 4.27 K; knives and die ring come on top.
    machines = running().machines
    assert machines.quench.to_water_kw == pytest.approx(108.3, rel=0.05)
    assert machines.water.return_cel - machines.water.supply_cel == pytest.approx(4.27, rel=0.1)


def test_a_fouled_cooler_lets_the_supply_creep_up() -> None:
    line = running()
    water = line.machines.water
    base = water.supply_cel
    line.upsets.cooler_fouling = 1.0
    line.go(600)
    assert water.supply_cel - base == pytest.approx(2.3, rel=0.2)
    line.go(2400)
    assert water.supply_cel - base == pytest.approx(4.1, rel=0.2)
    assert water.valve > 0.95


def test_a_fouled_cooler_of_the_second_line() -> None:
    # 4 K in 38 min at 540 kg/h, agglomerates from 0.1 to 0.9 %.
    line = running("PP")
    line.kg_h = 540.0
    line.go(1800)
    base, lumps = line.machines.water.supply_cel, line.machines.knives.agglomerates_percent
    line.upsets.cooler_fouling = 1.0
    line.go(2280)
    assert line.machines.water.supply_cel - base == pytest.approx(4.0, rel=0.2)
    assert line.machines.knives.agglomerates_percent / lumps == pytest.approx(9.0, rel=0.4)


def test_a_blocked_strainer_raises_pressure_and_return_and_lowers_flow() -> None:
    line = running()
    water = line.machines.water
    bar, warm, supply = water.pressure_bar, water.return_cel, water.supply_cel
    line.upsets.strainer_block = 1.0
    line.go(60)
    assert water.flow_m3_h == pytest.approx(0.55 * 22.0, rel=0.001)
    assert water.pressure_bar - bar > 0.5
    # 3.5 K warmer back within a minute, the supply as it was.
    assert water.return_cel - warm == pytest.approx(3.5, rel=0.2)
    assert water.supply_cel == pytest.approx(supply, abs=0.2)


def test_a_failing_pump_lowers_both() -> None:
    line = running()
    bar = line.machines.water.pressure_bar
    line.upsets.water_pump_loss = 1.0
    line.go(60)
    assert line.machines.water.flow_m3_h == pytest.approx(0.4 * 22.0, rel=0.001)
    assert line.machines.water.pressure_bar == pytest.approx(0.16 * bar, rel=0.01)


def test_flow_falls_below_its_limit_within_seconds() -> None:
    line = running()
    line.upsets.strainer_block = 1.0
    line.go(5)
    assert line.machines.water.flow_m3_h < 0.8 * 22.0


def test_little_water_welds_the_pellets_together() -> None:
    line = running()
    line.upsets.water_pump_loss = 1.0
    line.upsets.strainer_block = 0.5
    line.go(40)
    assert line.machines.knives.agglomerates_percent > 20.0
    assert line.machines.quench.lumps_kg > 0.1


def test_a_stuck_valve_stays_where_it_is() -> None:
    water = Water(WaterDesign(), start_cel=42.0)
    water.on = True
    _go(water, 600, Upsets(cooler_valve_stuck=0.1), 108.0)
    assert water.valve == 0.1
    assert water.supply_cel > 45.0


def test_a_cold_tank_is_heated_and_then_kept() -> None:
    water = Water(WaterDesign(), start_cel=30.0)
    _go(water, 600, Upsets(), 0.0)
    # 36 kW into 2 940 kg: 1.76 K in ten minutes, less losses.
    assert water.heater_kw == pytest.approx(36.0)
    assert 1.3 < water.supply_cel - 30.0 < 1.76
    _go(water, 4 * 3600, Upsets(), 0.0)
    assert water.supply_cel == pytest.approx(41.0, abs=0.6)


def test_the_mains_voltage_counts_with_its_square() -> None:
    water = Water(WaterDesign(), start_cel=30.0)
    _go(water, 1, Upsets(), 0.0, site=Site(mains_share=0.9))
    assert water.heater_kw == pytest.approx(36.0 * 0.81)


def test_the_level_falls_by_drying_and_make_up_brings_it_back() -> None:
    water = Water(WaterDesign(tank_kg=2700.0), start_cel=42.0)
    level = water.level_percent
    _go(water, 3600, Upsets(), 0.0)
    assert 0.5 < water.evaporated_kg < 5.0
    assert water.level_percent < level
    water.drag(100.0)
    assert water.level_percent < 70.0
    _go(water, 900, Upsets(), 0.0)
    assert water.level_percent > 75.0
    assert water.made_up_kg > 0.0


def test_an_empty_tank_starves_the_pump() -> None:
    water = Water(WaterDesign(tank_kg=300.0, make_up_kg_s=0.0), start_cel=42.0)
    water.on = True
    _go(water, 60, Upsets(), 0.0)
    assert water.flow_m3_h == pytest.approx(22.0 * 0.08 / 0.15, rel=0.01)
    assert water.pressure_bar < 1.0


def test_fines_stand_in_the_way_of_the_water() -> None:
    water = Water(WaterDesign(), start_cel=42.0)
    water.on = True
    for _ in range(60):
        water.step(1.0, SITE, Upsets(), 0.0, 0.0, 0.0)
    clean = water.fines_mm
    water.step(1.0, SITE, Upsets(), 0.0, 0.0, 2.0)
    assert water.fines_mm == pytest.approx(2.0 * clean, rel=1e-6)


def test_water_that_does_not_flow_boils_and_stays_below_a_hundred() -> None:
    water = Water(WaterDesign(), start_cel=42.0)
    tank = water.tank_kg
    _go(water, 1800, Upsets(), 108.0)
    assert water.return_cel == pytest.approx(99.6)
    # 108 kW for some 28 minutes against about 2 500 kJ/kg: around 70 kg of steam.
    assert 60.0 < tank - water.tank_kg < 80.0


def test_both_steps_give_the_same_course() -> None:
    ends = []
    for dt_s in (0.2, 1.0):
        line = PelletLine("LDPE", 780.0, 221.0).go(600, dt_s=dt_s)
        line.upsets.strainer_block = 0.8
        line.go(300, dt_s=dt_s)
        ends.append((line.machines.water.return_cel, line.machines.water.supply_cel))
    assert ends[0] == pytest.approx(ends[1], abs=0.02)


def test_the_rise_is_the_heat_over_the_stream() -> None:
    line = running()
    line.upsets.strainer_block = 0.8
    line.go(300)
    water = line.machines.water
    stream_kw_k = 22.0 * 0.64 / 3600.0 * 992.2 * 4.179
    assert water.return_cel - water.supply_cel == pytest.approx(water.heat_kw / stream_kw_k, rel=0.01)


@settings(max_examples=60, deadline=None)
@given(
    kw=st.floats(0.0, 400.0),
    start=st.floats(5.0, 95.0),
    ambient=st.floats(5.0, 38.0),
    cooling=st.floats(5.0, 32.0),
    setpoint=st.floats(10.0, 90.0),
    flow=st.floats(0.0, 40.0),
    fouling=st.floats(0.0, 1.0),
    strainer=st.floats(0.0, 1.0),
    loss=st.floats(0.0, 1.0),
    stuck=st.one_of(st.none(), st.floats(0.0, 1.0)),
    dragged=st.floats(0.0, 0.02),
    dt_s=st.sampled_from([0.2, 1.0]),
)
def test_balances_close_and_temperatures_stay_in_bounds(
    kw: float,
    start: float,
    ambient: float,
    cooling: float,
    setpoint: float,
    flow: float,
    fouling: float,
    strainer: float,
    loss: float,
    stuck: float | None,
    dragged: float,
    dt_s: float,
) -> None:
    water = Water(WaterDesign(), start_cel=start)
    water.on = True
    water.setpoint_cel, water.flow_setpoint_m3_h = setpoint, flow
    upsets = Upsets(
        cooler_fouling=fouling, strainer_block=strainer, water_pump_loss=loss, cooler_valve_stuck=stuck
    )
    site = Site(ambient_cel=ambient, cooling_water_cel=cooling)
    held_kg, held_kj = water.held_kg, water.held_kj
    coolest = min(start, ambient, cooling)
    for _ in range(200):
        water.step(dt_s, site, upsets, kw, 0.1 * kw, 0.0)
        water.drag(dragged)
        assert coolest - 1e-9 <= water.supply_cel <= 100.0
        assert coolest - 1e-9 <= water.return_cel <= 100.0
        assert water.flow_m3_h >= 0.0
        assert water.pressure_bar >= 0.0
        assert 0.0 <= water.valve <= 1.0
        assert water.tank_kg > 0.0
    account = water.account
    assert account.in_kg - account.out_kg == pytest.approx(water.held_kg - held_kg, abs=1e-7)
    scale = account.in_kj + held_kj
    assert account.in_kj - account.out_kj == pytest.approx(water.held_kj - held_kj, abs=1e-10 * scale)
