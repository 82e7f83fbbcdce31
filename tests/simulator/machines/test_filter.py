"""The melt filter at its two working points, spoilt in each way, and its balances of mass, dirt and heat.

Expected figures are those agreed for the two working points: film 780 kg/h, pressure difference 24 -> 45 bar,
240 s between cleanings, 16 to 17 kg/h discharged; regrind 620 kg/h, 19 -> 38 bar, 262 s, 22 kg/h.
The melt's temperature is held here; on the line it answers to viscosity and softens such changes.
"""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from functools import cache
from statistics import fmean

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.filter import FILM_FILTER, MeltFilter
from simulator.machines.melt import POLYMERS
from simulator.machines.screen import BlockingLaw, ScreenDesign
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.wiper import WiperState
from tests.simulator.machines.filter_bench import Bench, regrind_bench


@cache
def _film() -> Bench:
    bench = Bench()
    bench.run(3000)
    return bench


@cache
def _regrind() -> Bench:
    bench = regrind_bench(540.0)
    bench.run(2000)
    return bench


def film() -> Bench:
    """A filter on film that has run for fifty minutes, free to be spoilt."""
    return deepcopy(_film())


def regrind() -> Bench:
    """A filter on regrind at 540 kg/h that has run for half an hour, free to be spoilt."""
    return deepcopy(_regrind())


def spoilt(bench: Bench, seconds: float, **upsets: float | bool) -> Bench:
    """The bench after some time with that wrong; its cleanings are those since then."""
    for name, value in upsets.items():
        setattr(bench.upsets, name, value)
    done = len(bench.cleanings)
    bench.run(seconds)
    del bench.cleanings[:done]
    return bench


# ---- working points -------------------------------------------------------------------------------------------


def test_the_working_point_on_film() -> None:
    cleanings = _film().cleanings
    assert cleanings[1].trough_bar == pytest.approx(24.0, abs=1.2)
    assert all(45.0 < c.peak_bar < 46.0 for c in cleanings)
    assert fmean(_film().intervals_s()) == pytest.approx(240.0, rel=0.05)
    per_hour = fmean(c.discharged_kg for c in cleanings[1:]) * 3600.0 / fmean(_film().intervals_s())
    assert 16.0 < per_hour < 17.3
    assert 20.0 < fmean(c.mean_percent for c in cleanings) < 65.0


def test_the_screen_ages_by_some_four_thousandths_a_cleaning() -> None:
    cleanings = _film().cleanings
    ageing = (cleanings[-1].trough_bar / cleanings[1].trough_bar) ** (1.0 / (len(cleanings) - 2)) - 1.0
    assert ageing == pytest.approx(0.004, abs=0.0006)


def test_the_working_point_on_regrind() -> None:
    bench = regrind_bench()
    bench.run(1400)
    cleanings = bench.cleanings
    assert cleanings[1].trough_bar == pytest.approx(19.0, abs=0.8)
    assert fmean(bench.intervals_s()) == pytest.approx(262.0, rel=0.05)
    per_hour = fmean(c.discharged_kg for c in cleanings[1:]) * 3600.0 / fmean(bench.intervals_s())
    assert per_hour == pytest.approx(22.5, abs=1.2)


def test_the_melt_warms_by_what_its_pressure_loses() -> None:
    # 40 bar in LDPE are 40e5/(740*2500) = 2.16 K; plates at about the melt's temperature add little.
    bench = film()
    rises = []
    for _ in range(480):
        bench.step()
        rises.append(bench.filter.out_cel - bench.in_cel)
    assert fmean(rises) == pytest.approx(35.0e5 / (740.0 * 2500.0), abs=0.6)
    assert bench.filter.dissipated_kw == pytest.approx(
        bench.out_kg_s / 740.0 * bench.filter.difference_bar(bench.out_kg_s, bench.filter.screen_cel) * 100.0,
        rel=0.02,
    )


# ---- what goes wrong ------------------------------------------------------------------------------------------


def test_dirtier_feed_halves_the_interval() -> None:
    sound_s = fmean(_film().intervals_s())
    bench = spoilt(film(), 900, dirt_factor=2.2)
    dirty_s = fmean(bench.intervals_s()[1:])
    assert dirty_s < 0.52 * sound_s
    assert bench.cleanings[-1].trough_bar < 1.35 * _film().cleanings[-1].trough_bar


def test_a_worn_blade_leaves_a_high_trough_and_no_more_dirt_comes_out() -> None:
    sound = _film().cleanings[-1]
    bench = spoilt(film(), 1500, blade_wear=1.0)
    worn = bench.cleanings[-1]
    assert worn.trough_bar - sound.trough_bar > 10.0
    assert bench.intervals_s()[-1] < 0.55 * fmean(_film().intervals_s())
    assert worn.discharged_kg < sound.discharged_kg
    assert worn.peak_percent <= sound.peak_percent + 1.0


def test_a_stalled_wiper_lets_the_pressure_climb() -> None:
    # Agreed: about 6 bar a minute, 160 bar at the inlet nine minutes after the first failed cleaning.
    bench = film()
    bench.upsets.wiper_stall = True
    while not bench.filter.wiper.moving:
        bench.step()
    began_bar, discharged_kg, wipes = bench.sensed_bar, bench.filter.discharged_kg, bench.filter.wipes
    still_deg = bench.filter.angle_deg
    torque = []
    bench.run(15)
    for _ in range(525):
        bench.step()
        if bench.filter.wiper.moving:
            torque.append(bench.filter.torque_percent)
    assert (bench.sensed_bar - began_bar) / 9.0 == pytest.approx(6.0, rel=0.1)
    assert bench.sensed_bar + 62.0 == pytest.approx(160.0, rel=0.05)
    assert min(torque) >= 95.0
    assert bench.filter.angle_deg == still_deg
    assert bench.filter.discharged_kg == discharged_kg
    assert bench.filter.wipes == wipes


def test_a_slipping_wiper_turns_light_and_is_called_every_half_minute() -> None:
    # Agreed at 540 kg/h: torque 55 -> 10 %, called again every 31 s, some 7 bar more after four minutes.
    bench = regrind()
    bench.upsets.wiper_slip = 1.0
    while not bench.filter.wiper.moving:
        bench.step()
    bench.cleanings.clear()
    bench.run(240)
    assert bench.sensed_bar == pytest.approx(47.0, abs=3.0)
    assert all(c.peak_percent < 20.0 for c in bench.cleanings)
    assert fmean(bench.intervals_s()) == pytest.approx(30.0, abs=2.0)
    assert abs(bench.filter.wiped_share) < 0.05


def test_a_blocked_outlet() -> None:
    # Agreed at 540 kg/h: nothing comes out, torque up by a fifth, interval 320 -> 112 s.
    sound = _regrind().cleanings[-1]
    bench = spoilt(regrind(), 1200, discharge_block=1.0)
    assert fmean(_regrind().intervals_s()) == pytest.approx(318.0, rel=0.05)
    assert all(c.discharged_kg == 0.0 for c in bench.cleanings[1:])
    assert 1.1 < bench.cleanings[2].peak_percent / sound.peak_percent < 1.3
    assert bench.intervals_s()[-1] == pytest.approx(118.0, rel=0.12)
    assert bench.filter.discharge.heap_kg > 1.0
    kept_kg = bench.filter.held_kg
    heap_kg = bench.filter.discharge.heap_kg
    bench.filter.clear_discharge(2.0)
    bench.run(6)
    assert bench.filter.scale_kg > 3.0
    assert kept_kg - bench.filter.held_kg < heap_kg + 2.0
    bench.run(120)
    assert bench.filter.held_kg == pytest.approx(kept_kg)


def test_an_outlet_blocked_for_hours_fills_up_and_no_further() -> None:
    bench = spoilt(regrind(), 4000, discharge_block=1.0)
    assert 3.4 < bench.filter.discharge.heap_kg <= 4.0
    assert bench.sensed_bar > 45.0
    bench.filter.clear_discharge(50.0)
    assert bench.filter.held_kg > 0.5


def test_a_torn_screen_drops_the_pressure_below_the_clean_one() -> None:
    # Agreed: 42 -> 15 bar within seconds, cleanings by the clock only, trough 11.6 bar.
    bench = film()
    while bench.sensed_bar < 42.0:
        bench.step()
    bench.upsets.screen_tear = 1.0
    bench.run(8)
    assert bench.sensed_bar == pytest.approx(15.0, abs=1.0)
    bench.run(1300)
    assert bench.cleanings[-1].trough_bar == pytest.approx(11.6, abs=0.6)
    assert bench.intervals_s()[-1] == pytest.approx(541.0, abs=25.0)
    assert bench.filter.last_trigger == 3
    passed = 0.014 * bench.kg_s * (1.0 - 0.78 * 0.35)
    assert bench.filter.dirt_passed_kg_s == pytest.approx(passed, rel=0.01)


def test_a_leaking_valve_loses_melt_between_the_cleanings() -> None:
    bench = spoilt(film(), 600, discharge_leak=1.0)
    per_hour = bench.cleanings[-1].discharged_kg * 3600.0 / fmean(bench.intervals_s())
    assert per_hour == pytest.approx(17.0 + 0.03 * 780.0 * 0.9, rel=0.15)
    assert bench.filter.wiping_dip_share in (0.03, 0.06)
    while bench.filter.wiper.moving or bench.filter.discharge.valve_open:
        bench.step()
    assert bench.filter.wiping_dip_share == pytest.approx(0.06)


def test_stiffer_and_thinner_melt_move_trough_and_interval_against_each_other() -> None:
    sound = _film()
    stiff = spoilt(film(), 700, viscosity_factor=1.5)
    thin = spoilt(film(), 1300, viscosity_factor=0.6)
    assert thin.cleanings[-1].trough_bar < sound.cleanings[-1].trough_bar < stiff.cleanings[-1].trough_bar
    assert stiff.intervals_s()[-1] < fmean(sound.intervals_s()) < thin.intervals_s()[-1]
    assert thin.cleanings[-1].mean_percent < sound.cleanings[-1].mean_percent
    assert sound.cleanings[-1].mean_percent < stiff.cleanings[-1].mean_percent


def test_a_cold_sector_weighs_on_the_wiper_as_it_comes_by() -> None:
    bench = film()
    bench.dt_s = 0.2
    bench.filter.plates[2].true_cel = 170.0
    bench.filter.ask_for_wipe()
    by_angle: dict[float, float] = {}
    bench.step()
    while bench.filter.wiper.travel_deg < 360.0:
        bench.step()
    while bench.filter.wiper.moving:
        standing_deg = bench.filter.angle_deg
        bench.step()
        by_angle[standing_deg] = bench.filter.torque_percent
    # Plate 3 of eight has its middle at 112.5 deg.
    assert max(by_angle, key=lambda angle: by_angle[angle]) == pytest.approx(112.5, abs=8.0)
    far = fmean(torque for angle, torque in by_angle.items() if 200.0 < angle < 340.0)
    assert max(by_angle.values()) > far + 5.0


def test_solid_plastic_stops_a_jogged_wiper() -> None:
    machine = MeltFilter(FILM_FILTER, POLYMERS["LDPE"], start_cel=60.0)
    machine.jog()
    for _ in range(60):
        machine.step(1.0, Site(), Upsets(), 0.0, 60.0, 0.0, 1.0, 0.0, 0.0)
    assert machine.state is WiperState.FAULT
    assert not machine.at_park or machine.angle_deg == 0.0


def test_a_cold_block_freezes_the_outlet() -> None:
    bench = film()
    bench.upsets.zone("filter.discharge").power = 0.0
    minutes = 0
    while (
        bench.filter.discharge.open_share(bench.upsets, bench.filter.polymer, bench.filter.block.true_cel)
        > 0.5
    ):
        bench.run(60)
        minutes += 1
    assert 20 <= minutes <= 60


# ---- balances -------------------------------------------------------------------------------------------------

_WRONG = (
    {},
    {"discharge_block": 1.0},
    {"discharge_leak": 1.0},
    {"screen_tear": 0.5, "blade_wear": 1.0},
    {"wiper_slip": 1.0, "rest_share": 0.1},
)


@pytest.mark.parametrize("dt_s", [0.2, 1.0])
@pytest.mark.parametrize("wrong", _WRONG)
def test_mass_dirt_and_heat_close(wrong: dict[str, float], dt_s: float) -> None:
    bench = Bench(dt_s=dt_s, dirt=0.06)
    machine = bench.filter
    held_kg, held_kj = machine.held_kg, machine.held_kj
    for name, value in wrong.items():
        setattr(bench.upsets, name, value)
    bench.run(200)
    machine.ask_for_wipe()
    bench.run(100)
    machine.clear_discharge(0.5)
    machine.change_screen("two")
    bench.run(60)
    account = machine.account
    assert account.in_kg - account.out_kg == pytest.approx(machine.held_kg - held_kg, abs=1e-9)
    assert account.in_kj - account.out_kj == pytest.approx(machine.held_kj - held_kj, rel=1e-9, abs=1e-6)
    assert account.in_kj > 1000.0


def test_dirt_is_held_discharged_or_passed() -> None:
    bench = spoilt(film(), 700, discharge_block=0.6, blade_wear=0.5)
    machine = bench.filter
    came_kg = bench.dirt * machine.account.in_kg
    found_kg = machine.dirt_held_kg + machine.dirt_discharged_kg + machine.dirt_passed_kg
    assert found_kg == pytest.approx(came_kg, rel=1e-9)


def test_what_goes_in_goes_out_or_into_the_bin() -> None:
    bench = film()
    machine = bench.filter
    before_kg = machine.discharged_kg
    out_kg = 0.0
    for _ in range(700):
        bench.step()
        out_kg += bench.out_kg_s
        assert bench.out_kg_s >= 0.0
    assert out_kg + machine.discharged_kg - before_kg == pytest.approx(700 * bench.kg_s)


@given(
    kg_h=st.floats(0.0, 1500.0),
    dirt=st.floats(0.0, 0.1),
    law=st.sampled_from(list(BlockingLaw)),
    slip=st.floats(0.0, 1.0),
    block=st.floats(0.0, 1.0),
)
@settings(max_examples=20, deadline=None)
def test_resistance_never_falls_between_cleanings_and_no_mass_is_negative(
    kg_h: float, dirt: float, law: BlockingLaw, slip: float, block: float
) -> None:
    design = replace(FILM_FILTER, screen=ScreenDesign(law=law))
    bench = Bench(design, kg_h=kg_h, dirt=dirt)
    bench.upsets.wiper_slip, bench.upsets.discharge_block = slip, block
    machine = bench.filter
    before = machine.screen.resistance_1_m(0.0)
    for _ in range(300):
        moved = machine.wiper.moving
        bench.step()
        now = machine.screen.resistance_1_m(0.0)
        if not moved and not machine.wiper.moving:
            assert now >= before
        before = now
        assert min(machine.screen.load_kg, machine.screen.lasting_kg, machine.discharge.heap_kg) >= -1e-12
        assert bench.out_kg_s >= 0.0
        assert machine.dirt_passed_kg_s >= 0.0


@given(place=st.integers(0, 7), turn=st.integers(1, 7))
@settings(max_examples=6, deadline=None)
def test_plates_are_alike(place: int, turn: int) -> None:
    def history(faulty: int) -> list[float]:
        machine = MeltFilter(FILM_FILTER, POLYMERS["LDPE"], start_cel=220.0)
        machine.plates[faulty].true_cel = 180.0
        for _ in range(60):
            machine.step(1.0, Site(), Upsets(), 0.2, 221.0, 0.0, 1.0, 0.0, 0.0)
        return [zone.true_cel for zone in machine.plates]

    one, other = history(place), history((place + turn) % 8)
    assert one == pytest.approx([other[(k + turn) % 8] for k in range(8)], rel=1e-12)


@given(hall_cel=st.floats(0.0, 35.0), start_cel=st.floats(60.0, 240.0))
@settings(max_examples=8, deadline=None)
def test_left_alone_nothing_gets_colder_than_the_hall(hall_cel: float, start_cel: float) -> None:
    machine = MeltFilter(FILM_FILTER, POLYMERS["LDPE"], start_cel=start_cel)
    site = Site(ambient_cel=hall_cel)
    for _ in range(600):
        machine.step(10.0, site, Upsets(), 0.0, start_cel, 0.0, 1.0, 0.0, 0.0)
        coldest = min(
            machine.out_cel, machine.block.true_cel, machine.oil_cel, *[z.true_cel for z in machine.plates]
        )
        assert coldest >= hall_cel - 1e-9


def test_short_and_long_steps_tell_the_same_story() -> None:
    ends = []
    for dt_s in (0.2, 1.0):
        bench = Bench(dt_s=dt_s)
        bench.run(620)
        ends.append(
            (bench.filter.out_cel, bench.filter.discharged_kg, bench.filter.screen.dirt_kg, bench.sensed_bar)
        )
    assert ends[0] == pytest.approx(ends[1], rel=0.03)


def test_a_change_of_the_screen_begins_anew() -> None:
    bench = film()
    machine = bench.filter
    held_kg = machine.held_kg
    machine.change_screen("another", fineness_um=150.0)
    assert (machine.wipes, machine.revs, machine.screen.serial) == (0, 0.0, "another")
    assert machine.screen.dirt_kg == 0.0
    assert machine.difference_bar(bench.kg_s, 221.0) < 16.0
    assert machine.held_kg < held_kg - 1.4
    bench.step()
    assert 0.0 < bench.out_kg_s < bench.kg_s
    bench.run(60)
    assert machine.held_kg == pytest.approx(held_kg)
