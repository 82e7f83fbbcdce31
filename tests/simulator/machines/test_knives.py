"""The knives: speed, contact, torque, wear and what the pellets look like."""

from __future__ import annotations

from math import pi

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.knives import Knives, KnivesDesign
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from tests.support.pellet_line import LDPE_KG_H, SITE, running

KG_S = LDPE_KG_H / 3600.0


def _go(
    knives: Knives,
    seconds: float,
    upsets: Upsets,
    *,
    kg_s: float = KG_S,
    site: Site = SITE,
    dt_s: float = 1.0,
) -> Knives:
    for _ in range(round(seconds / dt_s)):
        knives.step(dt_s, site, upsets, kg_s, 120, 2.6, 1.0, 46.4, 1.0)
    return knives


def _turning(**design: float) -> Knives:
    knives = Knives(KnivesDesign(**design))  # type: ignore[arg-type]
    knives.running = True
    return _go(knives, 120, Upsets())


def test_pellets_of_the_two_bases_are_three_millimetres_long() -> None:
    ldpe, pp = running().machines.knives, running("PP").machines.knives
    assert ldpe.length_mm == pytest.approx(3.0, abs=0.01)
    assert ldpe.mass_mg == pytest.approx(16.85, abs=0.01)
    assert pp.length_mm == pytest.approx(3.0, abs=0.01)


def test_torque_is_the_sum_of_flow_contact_and_wear() -> None:
    # 30 + 12 points with new blades, 42; with worn ones 22 more.
    line = running()
    base = line.machines.knives.torque_percent
    assert base == pytest.approx(42.0, abs=1.5)
    line.upsets.knife_wear = 1.0
    line.go(5)
    assert line.machines.knives.torque_percent - base == pytest.approx(22.0, abs=0.2)


def test_worn_blades_leave_tails() -> None:
    # 0.2 % with sharp blades, 2.1 % with worn ones.
    line = running("PP")
    assert line.machines.knives.tails_percent == pytest.approx(0.2, abs=0.05)
    line.upsets.knife_wear = 1.0
    line.go(5)
    assert line.machines.knives.tails_percent == pytest.approx(2.1, rel=0.1)
    assert line.machines.knives.fines_percent > 0.2


def test_contact_pressure_leaks_out_with_forty_seconds() -> None:
    line = running()
    knives = line.machines.knives
    torque, bar = knives.torque_percent, knives.pressure_bar
    line.upsets.knife_pressure_loss = 1.0
    line.go(40)
    assert knives.pressure_bar == pytest.approx(bar * 0.3679, rel=1e-3)
    line.go(80)
    # 10 to 12 points less within two minutes, tails at once.
    assert torque - knives.torque_percent == pytest.approx(11.0, abs=1.5)
    assert knives.tails_percent > 10.0
    assert knives.gap_mm > 0.2
    line.upsets.knife_pressure_loss = 0.0
    line.go(30)
    assert knives.pressure_bar == pytest.approx(bar, rel=0.01)


def test_low_compressed_air_takes_contact_pressure() -> None:
    knives = _go(_turning(), 60, Upsets(), site=Site(air_bar=2.5))
    assert knives.pressure_bar == pytest.approx(2.2, abs=0.01)


def test_speed_ramps_to_the_set_point_and_errs_as_told() -> None:
    knives = Knives(KnivesDesign())
    knives.running = True
    _go(knives, 10, Upsets())
    assert knives.speed_min == pytest.approx(600.0)
    _go(knives, 60, Upsets(knife_speed_error=0.16))
    assert knives.speed_min == pytest.approx(1607.0 * 1.16)
    # Faster blades cut shorter pellets: 15 % and more out of the target.
    assert knives.length_mm == pytest.approx(3.0 / 1.16, rel=0.01)
    knives.running = False
    _go(knives, 60, Upsets())
    assert knives.speed_min == 0.0
    assert knives.torque_percent == 0.0
    assert knives.power_kw == 0.0


def test_an_open_chamber_stops_the_knives() -> None:
    line = running()
    line.upsets.chamber_open = True
    line.go(60)
    knives = line.machines.knives
    assert not knives.closed
    assert knives.speed_min == 0.0
    assert line.machines.cut_kg_s == 0.0


def test_drool_doubles_the_noise_of_the_torque_and_not_its_mean() -> None:
    line = running()
    knives = line.machines.knives
    torque, noise, lumps = knives.torque_percent, knives.torque_noise_percent, knives.agglomerates_percent
    line.upsets.die_drool = 1.0
    line.go(60)
    assert knives.torque_noise_percent > 2.0 * noise
    assert knives.torque_percent == pytest.approx(torque, abs=0.2)
    early = knives.agglomerates_percent
    line.go(1200)
    assert knives.agglomerates_percent - lumps > 2.0 * (early - lumps)


def test_ordinary_wear_costs_torque_over_shifts_and_new_blades_run_in() -> None:
    knives = _turning(life_h=1.0)
    first = knives.torque_percent
    knives.change(hours=0.2)
    _go(knives, 1800, Upsets())
    assert knives.hours == pytest.approx(0.7, abs=0.01)
    assert knives.own_wear == pytest.approx(0.7, abs=0.01)
    knives.change()
    _go(knives, 1, Upsets())
    new = knives.torque_percent
    _go(knives, 1200, Upsets())
    run_in = knives.torque_percent - 22.0 * knives.own_wear
    assert new - run_in == pytest.approx(3.0, abs=0.4)
    assert first > new


def test_knives_at_rest_neither_wear_nor_press() -> None:
    knives = Knives(KnivesDesign(), hours=12.0)
    _go(knives, 600, Upsets())
    assert knives.hours == 12.0
    assert knives.pressure_bar == 0.0
    assert knives.length_mm == 0.0


def test_more_pellets_stick_in_warmer_and_in_less_water() -> None:
    knives = _turning()
    for _ in range(60):
        knives.step(1.0, SITE, Upsets(), KG_S, 120, 2.6, 1.0, 50.4, 1.0)
    warm = knives.agglomerates_percent
    # 0.1 % grows to 0.9 % with 4 K more.
    assert warm == pytest.approx(0.9, rel=0.15)
    for _ in range(60):
        knives.step(1.0, SITE, Upsets(), KG_S, 120, 2.6, 1.0, 50.4, 0.5)
    assert knives.agglomerates_percent == pytest.approx(4.0 * warm, rel=0.05)


@settings(max_examples=60, deadline=None)
@given(
    kg_h=st.floats(1.0, 2000.0),
    setpoint=st.floats(150.0, 3500.0),
    open_holes=st.floats(0.05, 1.0),
    holes=st.integers(20, 300),
    hole_mm=st.floats(2.0, 3.5),
    wear=st.floats(0.0, 1.0),
    loss=st.floats(0.0, 1.0),
)
def test_length_times_area_times_count_is_the_volume(
    kg_h: float, setpoint: float, open_holes: float, holes: int, hole_mm: float, wear: float, loss: float
) -> None:
    knives = Knives(KnivesDesign())
    knives.running = True
    knives.setpoint_min = setpoint
    upsets = Upsets(knife_wear=wear, knife_pressure_loss=loss)
    for _ in range(60):
        knives.step(1.0, SITE, upsets, kg_h / 3600.0, holes, hole_mm, open_holes, 46.0, 1.0)
    design = knives.design
    cuts_s = holes * open_holes * design.knives * knives.speed_min / 60.0
    area_mm2 = pi * hole_mm**2 / 4.0 * design.swell
    volume_m3_s = 1e-9 * knives.length_mm * area_mm2 * cuts_s
    assert volume_m3_s * design.pellet_kg_m3 == pytest.approx(kg_h / 3600.0, rel=1e-9)
    for percent in (knives.tails_percent, knives.agglomerates_percent, knives.fines_percent):
        assert 0.0 <= percent <= 100.0
    assert 0.0 <= knives.gap_mm <= 0.3
    account = knives.account
    assert account.in_kj == account.out_kj >= 0.0
    assert knives.to_water_kw <= knives.power_kw
