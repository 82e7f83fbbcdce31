"""The dryer: current, moisture, warmth, overload and jam."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.dryer import Dryer, DryerDesign
from simulator.machines.melt import POLYMERS
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from tests.support.pellet_line import SITE, running

LDPE = POLYMERS["LDPE"]


@pytest.mark.parametrize("polymer", ["LDPE", "PP"])
def test_at_planned_flow_it_draws_fifteen_amperes(polymer: str) -> None:
    dryer = running(polymer).machines.dryer
    assert dryer.current_a == pytest.approx(15.0, abs=0.05)
    assert 900.0 < dryer.speed_min < 1500.0
    assert 35.0 < dryer.exhaust_cel < 60.0
    assert 1.0 < dryer.vibration_mm_s < 4.5


def test_without_pellets_it_draws_its_idle_current() -> None:
    line = running()
    line.kg_h = 0.0
    line.go(60)
    assert line.machines.dryer.current_a == pytest.approx(9.5, abs=0.01)


def test_pellets_leave_dry_and_warm() -> None:
    # 0.083 % at 60 Cel, less from warmer pellets; 0.03 to 0.15 % in good running.
    dryer = running().machines.dryer
    assert 0.04 < dryer.moisture_percent < 0.1
    assert 40.0 < dryer.pellet_cel < running().machines.quench.pellet_cel


def test_cold_water_gives_wet_pellets() -> None:
    line = running()
    dry = line.machines.dryer.moisture_percent
    water = line.machines.water
    water.setpoint_cel = water.tank_cel = 18.0
    line.go(300)
    assert line.machines.dryer.moisture_percent > 1.5 * dry


def test_a_slow_rotor_gives_wet_pellets() -> None:
    dryer = Dryer(DryerDesign(), start_cel=20.0)
    dryer.running = True
    for _ in range(60):
        dryer.step(1.0, SITE, Upsets(), LDPE, 0.2, 140.0, 46.0)
    dry = dryer.moisture_percent
    dryer.running = False
    for _ in range(3):
        dryer.step(1.0, SITE, Upsets(), LDPE, 0.2, 140.0, 46.0)
    assert dryer.moisture_percent > 3.0 * dry


def test_overload_draws_half_the_load_current_more_and_dries_badly() -> None:
    line = running()
    dryer = line.machines.dryer
    shaken, exhaust = dryer.vibration_mm_s, dryer.exhaust_cel
    line.upsets.dryer_load = 1.0
    line.go(60)
    # 15.0 to 17.7 A, more than 0.2 % of water, shaken, colder exhaust.
    assert dryer.current_a == pytest.approx(17.75, abs=0.1)
    assert dryer.moisture_percent > 0.2
    assert dryer.vibration_mm_s > shaken + 1.0
    line.go(300)
    assert dryer.exhaust_cel < exhaust - 2.0


def test_a_jam_starves_the_scale_overloads_the_motor_and_trips_it() -> None:
    line = running()
    dryer = line.machines.dryer
    line.upsets.dryer_jam = 1.0
    seen = []
    for _ in range(60):
        line.go(1)
        seen.append(dryer.current_a)
    assert min(seen[:5]) < 0.85 * 15.0
    assert max(seen) > 1.5 * 15.0
    assert dryer.tripped
    assert seen[-1] == 0.0
    assert dryer.out_kg_s == 0.0
    line.go(240)
    assert dryer.spilled_kg > 0.0
    assert dryer.backlog_kg == pytest.approx(dryer.design.room_kg)


def test_a_cleared_jam_is_worked_off_after_a_restart() -> None:
    line = running()
    line.upsets.dryer_jam = 1.0
    line.go(60)
    line.kg_h = 0.0
    line.upsets.dryer_jam = 0.0
    line.machines.run(False)
    line.go(30)
    assert not line.machines.dryer.tripped
    dryer = line.machines.dryer
    assert dryer.backlog_kg > 10.0
    # A full rotor trips again; a person takes the pellets out.
    line.machines.run(True)
    line.go(30)
    assert dryer.tripped
    line.machines.run(False)
    line.go(1)
    lying = dryer.spilled_kg + dryer.backlog_kg
    dryer.clear()
    assert dryer.backlog_kg == 0.0
    assert dryer.spilled_kg == pytest.approx(lying)
    line.machines.run(True)
    line.go(60)
    assert not dryer.tripped


def test_a_short_jam_is_worked_off() -> None:
    line = running()
    dryer = line.machines.dryer
    line.upsets.dryer_jam = 1.0
    line.go(10)
    line.upsets.dryer_jam = 0.0
    assert dryer.backlog_kg > 1.0
    line.go(60)
    assert dryer.backlog_kg == 0.0
    assert dryer.spilled_kg == 0.0


@settings(max_examples=60, deadline=None)
@given(
    kg_s=st.floats(0.0, 0.5),
    kj_kg=st.floats(40.0, 400.0),
    water=st.floats(5.0, 95.0),
    load=st.floats(0.0, 1.0),
    jam=st.floats(0.0, 1.0),
    ambient=st.floats(5.0, 38.0),
    dt_s=st.sampled_from([0.2, 1.0]),
    running_=st.booleans(),
)
def test_balances_close_and_no_mass_is_negative(
    kg_s: float,
    kj_kg: float,
    water: float,
    load: float,
    jam: float,
    ambient: float,
    dt_s: float,
    running_: bool,
) -> None:
    dryer = Dryer(DryerDesign(), start_cel=ambient)
    dryer.running = running_
    site = Site(ambient_cel=ambient)
    upsets = Upsets(dryer_load=load, dryer_jam=jam)
    held_kj = dryer.held_kj
    for _ in range(200):
        dryer.step(dt_s, site, upsets, LDPE, kg_s, kj_kg, water)
        assert dryer.out_kg_s >= 0.0
        assert dryer.backlog_kg >= 0.0
        assert dryer.dragged_kg >= 0.0
        assert 0.0 <= dryer.moisture_percent <= 15.0 + 1e-9
    account = dryer.account
    assert account.in_kg - account.out_kg == pytest.approx(dryer.held_kg, abs=1e-8)
    assert account.in_kj - account.out_kj == pytest.approx(dryer.held_kj - held_kj, abs=1e-5)
