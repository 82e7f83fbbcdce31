"""The wiper: travel, park, torque, stall, slip, missed park, dead park sensor."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.upsets import Upsets
from simulator.machines.wiper import Wiper, WiperDesign, WiperState

DESIGN = WiperDesign()


def _run(
    wiper: Wiper, upsets: Upsets, dt_s: float = 1.0, load: float = 40.0
) -> tuple[float, list[bool], float]:
    """Until it rests: seconds, what the park sensor showed, turns."""
    seconds = turns = 0.0
    park = []
    while wiper.moving and seconds < 500.0:
        turns += wiper.step(dt_s, upsets, load)
        seconds += dt_s
        park.append(wiper.at_park)
    return seconds, park, turns


@pytest.mark.parametrize("dt_s", [0.2, 1.0])
def test_a_cleaning_takes_its_time_and_ends_at_park(dt_s: float) -> None:
    wiper = Wiper(DESIGN)
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    seconds, park, turns = _run(wiper, Upsets(), dt_s)
    assert seconds == pytest.approx(22.0, abs=dt_s + 1e-6)
    assert turns == pytest.approx(2.0)
    assert wiper.revs == pytest.approx(2.0)
    assert wiper.angle_deg == pytest.approx(0.0, abs=1e-6) or wiper.angle_deg == pytest.approx(360.0)
    assert (wiper.state, wiper.failed, wiper.speed_min) == (WiperState.PARKED, False, 0.0)
    passes = sum(now and not before for before, now in pairwise(park))
    assert passes == 2
    wiper.step(dt_s, Upsets(), 0.0)
    assert wiper.at_park
    assert wiper.torque_percent == 0.0


def test_speed_and_inrush() -> None:
    wiper = Wiper(DESIGN)
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    wiper.step(0.2, Upsets(), 40.0)
    assert wiper.torque_percent > 50.0
    assert wiper.speed_min < 0.6 * DESIGN.wipe_min
    for _ in range(40):
        wiper.step(0.2, Upsets(), 40.0)
    assert wiper.torque_percent == pytest.approx(40.0, abs=0.1)
    assert wiper.speed_min == pytest.approx(DESIGN.wipe_min)
    assert wiper.power_kw > 0.0


@given(dt_s=st.sampled_from([0.1, 0.2, 0.5, 1.0]), seconds=st.integers(1, 21))
@settings(max_examples=30, deadline=None)
def test_travel_does_not_depend_on_the_step(dt_s: float, seconds: int) -> None:
    fine, coarse = Wiper(DESIGN), Wiper(DESIGN)
    for wiper, step_s in ((fine, dt_s), (coarse, 1.0)):
        wiper.begin(DESIGN.revs, WiperState.WIPING)
        for _ in range(round(seconds / step_s)):
            wiper.step(step_s, Upsets(), 40.0)
    assert fine.travel_deg == pytest.approx(coarse.travel_deg, abs=1e-6)


def test_a_stall_stands_at_the_torque_limit_and_is_given_up() -> None:
    wiper = Wiper(DESIGN)
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    upsets = Upsets()
    for _ in range(5):
        wiper.step(1.0, upsets, 40.0)
    stood_deg = wiper.angle_deg
    upsets.wiper_stall = True
    wiper.step(1.0, upsets, 40.0)
    assert (wiper.state, wiper.torque_percent, wiper.speed_min) == (WiperState.WIPING, 100.0, 0.0)
    seconds, _, turns = _run(wiper, upsets)
    assert seconds == pytest.approx(21.0, abs=1.0)
    assert turns == 0.0
    assert (wiper.state, wiper.failed, wiper.angle_deg) == (WiperState.FAULT, True, stood_deg)
    assert not wiper.at_park


def test_too_much_load_stalls_by_itself() -> None:
    wiper = Wiper(DESIGN)
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    _run(wiper, Upsets(), load=130.0)
    assert wiper.state is WiperState.FAULT


def test_after_a_stall_it_goes_on_from_where_it_stands() -> None:
    wiper = Wiper(DESIGN)
    upsets = Upsets()
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    for _ in range(9):
        wiper.step(1.0, upsets, 40.0)
    stood_deg = wiper.travel_deg
    upsets.wiper_stall = True
    _run(wiper, upsets)
    upsets.wiper_stall = False
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    _, _, turns = _run(wiper, upsets)
    left_deg = stood_deg - 360.0 if stood_deg > 180.0 else stood_deg
    assert turns == pytest.approx(2.0 - left_deg / 360.0)
    assert wiper.state is WiperState.PARKED


def test_a_slip_turns_idle_and_no_blade_comes_by_the_park_sensor() -> None:
    wiper = Wiper(DESIGN)
    upsets = Upsets(wiper_slip=1.0)
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    wiper.step(1.0, upsets, 55.0)
    assert wiper.torque_percent == pytest.approx(12.0)
    _, park, turns = _run(wiper, upsets, load=55.0)
    assert turns > 1.8
    assert len(set(park)) == 1
    both, _ = wiper.takes(upsets, 1.0)
    assert both < 0.03


def test_a_missed_park_shows() -> None:
    wiper = Wiper(DESIGN)
    upsets = Upsets(park_miss_deg=20.0)
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    _run(wiper, upsets)
    assert wiper.angle_deg == pytest.approx(20.0)
    wiper.step(1.0, upsets, 0.0)
    assert not wiper.at_park
    upsets.park_miss_deg = 0.0
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    _run(wiper, upsets)
    assert wiper.angle_deg % 360.0 == pytest.approx(0.0, abs=1e-6)


def test_a_dead_park_sensor_says_nothing_at_the_right_angle() -> None:
    wiper = Wiper(DESIGN)
    upsets = Upsets(park_sensor_dead=True)
    wiper.step(1.0, upsets, 0.0)
    assert (wiper.angle_deg, wiper.at_park) == (0.0, False)
    wiper.begin(DESIGN.revs, WiperState.WIPING)
    _, park, _ = _run(wiper, upsets)
    assert not any(park)


def test_what_a_cleaning_takes() -> None:
    wiper = Wiper(DESIGN)
    sharp, stays = wiper.takes(Upsets(), 1.0)
    assert sharp * (1.0 - stays) == pytest.approx(0.94)
    worn, stays_worn = wiper.takes(Upsets(blade_wear=1.0), 1.0)
    assert worn * (1.0 - stays_worn) == pytest.approx(0.55)
    assert worn * stays_worn > 3.0 * sharp * stays
    light, _ = wiper.takes(Upsets(), 0.25)
    assert light < sharp
    pressed, much = wiper.takes(Upsets(rest_share=0.2), 1.0)
    assert pressed * much == pytest.approx(0.99 * 0.2 / 1.14, rel=0.2)


def test_an_endless_turn_ends_at_the_next_park() -> None:
    wiper = Wiper(DESIGN)
    wiper.begin(float("inf"), WiperState.WIPING)
    for _ in range(200):
        wiper.step(1.0, Upsets(), 40.0)
    assert wiper.speed_min == pytest.approx(DESIGN.continuous_min)
    wiper.finish()
    _run(wiper, Upsets())
    assert wiper.state is WiperState.PARKED
    assert wiper.travel_deg % 360.0 == pytest.approx(0.0, abs=1e-6)
