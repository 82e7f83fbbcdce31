"""Pressure in the dome, steam, melt that climbs."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.vent import ATMOSPHERE_MBAR, Vent, VentDesign, saturation_mbar


def _vent(*, on: bool = True) -> Vent:
    vent = Vent(VentDesign(), start_cel=110.0)
    vent.pump_on = on
    return vent


def _settle(vent: Vent, site: Site, upsets: Upsets, *, steam_kg_s: float, seconds: float = 120.0) -> None:
    for _ in range(round(seconds)):
        vent.steam_kg_s = steam_kg_s
        vent.step(1.0, site, upsets, 0.36)


def test_more_steam_is_a_worse_vacuum_and_a_higher_current() -> None:
    dry, wet = _vent(), _vent()
    _settle(dry, Site(), Upsets(), steam_kg_s=0.0003)
    _settle(wet, Site(), Upsets(), steam_kg_s=0.0012)
    assert dry.pressure_mbar < 60.0 < wet.pressure_mbar < 150.0
    assert wet.pump_current_a > dry.pump_current_a


def test_what_comes_in_is_what_the_pump_takes() -> None:
    vent, site = _vent(), Site()
    _settle(vent, site, Upsets(), steam_kg_s=0.0009)
    design = vent.design
    # Volume of steam and air at the pressure and temperature of the dome, by hand, m3/s.
    kelvin = vent.dome_cel + 273.15
    moles = 0.0009 / 0.018015 + design.leak_kg_h / 3600.0 / 0.028965
    gas_m3_s = moles * 8.3145 * kelvin / (100.0 * vent.pressure_mbar)
    lowest = saturation_mbar(site.cooling_water_cel + design.pump_water_k)
    taken_m3_s = design.pump_m3_h / 3600.0 * (1.0 - lowest / vent.pressure_mbar)
    assert gas_m3_s == pytest.approx(taken_m3_s, rel=1e-3)


def test_a_leak_at_its_worst_is_some_three_hundred_mbar() -> None:
    vent = _vent()
    _settle(vent, Site(), Upsets(vacuum_leak=1.0), steam_kg_s=0.0008)
    assert 270.0 < vent.pressure_mbar < 330.0


def test_warm_pump_water_spoils_the_vacuum() -> None:
    cool, warm = _vent(), _vent()
    _settle(cool, Site(cooling_water_cel=12.0), Upsets(), steam_kg_s=0.0008)
    _settle(warm, Site(cooling_water_cel=30.0), Upsets(), steam_kg_s=0.0008)
    assert warm.pressure_mbar > cool.pressure_mbar + 20.0


def test_without_the_pump_the_hall_comes_in() -> None:
    vent = _vent()
    _settle(vent, Site(), Upsets(), steam_kg_s=0.0008)
    vent.pump_on = False
    _settle(vent, Site(), Upsets(), steam_kg_s=0.0, seconds=300.0)
    assert vent.pressure_mbar == pytest.approx(ATMOSPHERE_MBAR, abs=0.5)
    assert vent.pump_current_a == 0.0


def test_melt_that_climbs_shuts_the_way_to_the_pump_until_it_is_cleaned() -> None:
    vent, site, upsets = _vent(), Site(), Upsets(vent_flow=1.0)
    _settle(vent, site, Upsets(), steam_kg_s=0.0008)
    before_mbar, before_a = vent.pressure_mbar, vent.pump_current_a
    lowest_a = before_a
    for _ in range(600):
        lowest_a = min(lowest_a, vent.pump_current_a)
        vent.steam_kg_s = 0.0008
        vent.climb(1.0, upsets, 0.0, 0.2)
        vent.step(1.0, site, upsets, vent.heat_kw(205.0, 1.0))
    assert vent.blocked_share == 1.0
    assert vent.pressure_mbar > before_mbar + 100.0
    # While the dome fills, the pump gets less.
    assert lowest_a < before_a - 0.05
    vent.clean()
    assert vent.melt_kg == 0.0
    _settle(vent, site, Upsets(), steam_kg_s=0.0008)
    assert vent.pressure_mbar == pytest.approx(before_mbar, abs=3.0)


def test_the_dome_grows_warmer_when_melt_climbs() -> None:
    calm, wild, site = _vent(), _vent(), Site()
    for _ in range(300):
        calm.step(1.0, site, Upsets(), calm.heat_kw(205.0, 1.0))
        wild.climb(1.0, Upsets(vent_flow=1.0), 0.0, 0.2)
        wild.step(1.0, site, Upsets(), wild.heat_kw(205.0, 1.0))
    assert wild.dome_cel > calm.dome_cel + 5.0


def test_nothing_climbs_without_flow() -> None:
    vent = _vent()
    assert vent.climb(1.0, Upsets(vent_flow=1.0), 1.0, 0.0) == 0.0


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.0, 0.01),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
    st.sampled_from([0.2, 1.0]),
    st.floats(5.0, 35.0),
)
def test_the_pressure_stays_between_the_pump_and_the_hall(
    steam_kg_s: float, leak: float, blocked: float, dt_s: float, water_cel: float
) -> None:
    vent, site = _vent(), Site(cooling_water_cel=water_cel)
    vent.melt_kg = blocked * vent.design.plug_kg
    vent.blocked_share = blocked
    lowest = saturation_mbar(water_cel + vent.design.pump_water_k)
    for _ in range(200):
        vent.steam_kg_s = steam_kg_s
        vent.step(dt_s, site, Upsets(vacuum_leak=leak), 0.3)
        assert lowest <= vent.pressure_mbar <= ATMOSPHERE_MBAR + 1e-6


@given(st.floats(0.1, 6.0), st.floats(0.0, 0.03), st.sampled_from([0.2, 1.0]))
def test_no_more_water_leaves_than_there_is(melt_kg: float, share: float, dt_s: float) -> None:
    vent = _vent()
    water_kg = share * melt_kg
    assert 0.0 <= vent.degas(dt_s, melt_kg, water_kg) <= water_kg


def test_foam_starts_with_water_that_is_left() -> None:
    vent = _vent()
    assert vent.foam(0.0003) == 0.0
    assert vent.foam(0.0010) == pytest.approx(0.5)
    assert vent.foam(0.0030) == 1.0
