"""The die plate: pressure, heat, frozen holes."""

from __future__ import annotations

from math import exp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.die import MOST_FROZEN, Die, DieDesign
from simulator.machines.melt import POLYMERS
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from tests.support.heating import switch
from tests.support.pellet_line import LDPE_CEL, LDPE_KG_H, SITE, running

LDPE = POLYMERS["LDPE"]
KG_S = LDPE_KG_H / 3600.0


def _die(start_cel: float = 225.0, zones: int = 1) -> Die:
    die = Die(DieDesign(zones=zones), LDPE, start_cel=start_cel)
    switch(die.zones, True)
    return die


def _wet(die: Die, seconds: int, upsets: Upsets, *, kg_s: float = KG_S, dt_s: float = 1.0) -> None:
    for _ in range(round(seconds / dt_s)):
        die.step(dt_s, SITE, upsets, kg_s, LDPE_CEL, 1.0, 42.0, 1.0)


def test_pressures_of_the_two_bases() -> None:
    # After the screen 62 bar with 3.6 bar lost on the way: 58.4 bar; PP 42 bar.
    assert running().machines.die.drop_now_bar == pytest.approx(58.4, rel=0.02)
    assert running("PP").machines.die.drop_now_bar == pytest.approx(42.0, rel=0.02)


def test_the_ring_needs_about_sixty_percent_of_its_heaters() -> None:
    # Hold duty of the die beside the water: 61 %.
    zone = running().machines.die.zones[0]
    assert 100.0 * zone.duty == pytest.approx(61.0, abs=3.0)
    assert zone.true_cel == pytest.approx(225.0, abs=0.5)


@pytest.mark.parametrize(("frozen", "rise_percent"), [(0.12, 5.5), (0.30, 16.0), (0.35, 20.0)])
def test_frozen_holes_raise_the_pressure(frozen: float, rise_percent: float) -> None:
    line = running()
    before = line.machines.die.drop_now_bar
    line.upsets.holes_frozen = frozen
    line.go(900)
    rise = 100.0 * (line.machines.die.drop_now_bar / before - 1.0)
    assert rise == pytest.approx(rise_percent, rel=0.1)


def test_holes_freeze_by_the_law_of_first_order() -> None:
    line = running()
    line.upsets.holes_frozen = 0.30
    line.go(90)
    assert 1.0 - line.machines.die.open_holes == pytest.approx(0.30 * (1.0 - exp(-1.0)), rel=1e-6)


def test_a_ring_without_heaters_cools_seven_kelvin_a_minute() -> None:
    line = running()
    die = line.machines.die
    pressure, ring = die.drop_now_bar, die.ring_cel
    line.upsets.zone("die.zone.1").power = 0.0
    line.go(300)
    # 190 Cel and 13 % more pressure after five minutes.
    assert die.ring_cel == pytest.approx(190.0, abs=4.0)
    assert (ring - die.ring_cel) / 5.0 == pytest.approx(7.0, rel=0.1)
    assert 100.0 * (die.drop_now_bar / pressure - 1.0) == pytest.approx(13.0, rel=0.15)
    assert die.open_holes == 1.0


def test_a_cold_ring_freezes_holes_and_a_reheated_one_opens_them() -> None:
    die, upsets = _die(), Upsets()
    upsets.zone("die.zone.1").power = 0.0
    _wet(die, 1500, upsets)
    assert die.open_holes < 0.8
    still = die.open_holes
    # Without water and melt the heaters melt the plugs out.
    upsets.zone("die.zone.1").power = 1.0
    for _ in range(1200):
        die.step(1.0, SITE, upsets, 0.0, LDPE_CEL, 1.0, 42.0, 0.0)
    assert still < 0.8 < die.open_holes
    assert die.open_holes == pytest.approx(1.0, abs=1e-6)


def test_a_plug_stays_while_the_face_is_not_warm_again() -> None:
    die, upsets = _die(190.0), Upsets()
    switch(die.zones, False)
    upsets.holes_frozen = 0.3
    _wet(die, 60, upsets, kg_s=0.0)
    frozen = 1.0 - die.open_holes
    upsets.holes_frozen = 0.0
    _wet(die, 30, upsets, kg_s=0.0)
    assert 1.0 - die.open_holes >= frozen > 0.1


def test_a_start_with_water_on_a_cold_plate_begins_with_fewer_holes() -> None:
    cold, warm = _die(195.0), _die(225.0)
    for die in (cold, warm):
        switch(die.zones, False)
        _wet(die, 60, Upsets(), kg_s=0.0)
    assert warm.open_holes == 1.0
    assert cold.open_holes < 1.0
    assert cold.drop_bar(KG_S, LDPE_CEL, 1.0) > 1.1 * warm.drop_bar(KG_S, LDPE_CEL, 1.0)


def test_a_plate_that_was_heated_from_cold_is_open() -> None:
    die = _die(20.0)
    assert die.open_holes == pytest.approx(1.0 - MOST_FROZEN)
    for _ in range(2400):
        die.step(1.0, SITE, Upsets(), 0.0, 20.0, 1.0, 20.0, 0.0)
    assert die.open_holes == pytest.approx(1.0, abs=1e-4)


def test_melt_gets_warmer_by_what_it_loses_in_pressure() -> None:
    # Adiabatic rise Δp/(ρ·c): 58.4 bar on LDPE (740 kg/m3, 2.5 kJ/(kg·K)) is 3.2 K.
    die = _die(LDPE_CEL)
    die.step(1.0, SITE, Upsets(), KG_S, LDPE_CEL, 1.0, 42.0, 0.0)
    rise = die.drop_now_bar * 100.0 / (740.0 * 2.5)
    assert die.out_cel - LDPE_CEL == pytest.approx(rise, rel=1e-9)
    assert 2.8 < rise < 3.6


def test_one_failed_zone_of_three_freezes_its_own_holes_only() -> None:
    die, upsets = _die(zones=3), Upsets()
    upsets.zone("die.zone.2").power = 0.0
    _wet(die, 2400, upsets)
    cold = die.zones[1].true_cel
    assert cold < die.zones[0].true_cel - 10.0
    assert die.open_holes > 2.0 / 3.0


@settings(max_examples=40, deadline=None)
@given(
    kg_h=st.floats(0.0, 1500.0),
    in_cel=st.floats(150.0, 300.0),
    start_cel=st.floats(15.0, 300.0),
    wet=st.floats(0.0, 1.0),
    forced=st.floats(0.0, 1.0),
    zones=st.integers(1, 4),
    dt_s=st.sampled_from([0.2, 1.0]),
)
def test_balances_close_and_nothing_is_negative(
    kg_h: float, in_cel: float, start_cel: float, wet: float, forced: float, zones: int, dt_s: float
) -> None:
    die = _die(start_cel, zones)
    upsets = Upsets(holes_frozen=forced)
    before = die.held_kj
    for _ in range(120):
        die.step(dt_s, Site(ambient_cel=18.0), upsets, kg_h / 3600.0, in_cel, 1.2, 35.0, wet)
        assert 1.0 - MOST_FROZEN - 1e-12 <= die.open_holes <= 1.0
        assert die.drop_now_bar >= 0.0
    account = die.account
    assert account.in_kg == account.out_kg
    assert account.in_kj - account.out_kj == pytest.approx(
        die.held_kj - before, abs=1e-9 * account.in_kj + 1e-7
    )


@given(share=st.floats(0.2, 1.5), frozen=st.floats(0.0, 0.9))
def test_pressure_goes_with_the_nth_power_of_the_flow_through_an_open_hole(
    share: float, frozen: float
) -> None:
    die = _die()
    whole = die.drop_bar(KG_S, LDPE_CEL, 1.0)
    die.open_holes = 1.0 - frozen
    assert die.drop_bar(KG_S * share, LDPE_CEL, 1.0) == pytest.approx(
        whole * (share / (1.0 - frozen)) ** LDPE.exponent, rel=1e-9
    )
