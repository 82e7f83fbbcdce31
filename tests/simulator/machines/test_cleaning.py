"""When a cleaning starts: by pressure difference, by inlet pressure, by the clock, without a pause, by hand."""

from __future__ import annotations

import math

import pytest

from historian.catalogue import WIPE_TRIGGERS, WIPER_STATES
from simulator.machines.cleaning import Trigger
from simulator.machines.filter import FILM_FILTER, MeltFilter
from simulator.machines.melt import POLYMERS
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.wiper import WiperState
from tests.support.heating import switch

KG_S = 780.0 / 3600.0


class Hand:
    """A filter whose control sees what the test says."""

    def __init__(self) -> None:
        self.filter = MeltFilter(FILM_FILTER, POLYMERS["LDPE"], start_cel=220.0)
        switch((*self.filter.plates, self.filter.block), True)
        self.upsets = Upsets()
        self.inlet_bar = 90.0
        self.dp_bar = 30.0
        self.kg_s = KG_S

    def run(self, seconds: int) -> None:
        for _ in range(seconds):
            self.filter.step(
                1.0, Site(), self.upsets, self.kg_s, 221.0, 0.014, 1.0, self.inlet_bar, self.dp_bar
            )

    def until_it_starts(self, most: int = 700) -> int:
        for second in range(most):
            self.run(1)
            if self.filter.wiper.moving:
                return second + 1
        return most + 1


def test_codes_are_those_of_the_tags() -> None:
    assert {int(t) for t in Trigger} == set(WIPE_TRIGGERS)
    assert {int(s): s.name.lower() for s in WiperState} == WIPER_STATES


def test_a_pressure_difference_must_hold_for_a_time() -> None:
    hand = Hand()
    hand.dp_bar = 46.0
    hand.run(3)
    hand.dp_bar = 44.0
    hand.run(1)
    hand.dp_bar = 46.0
    assert hand.until_it_starts() == 4
    assert hand.filter.last_trigger is Trigger.PRESSURE_DIFFERENCE
    assert hand.filter.state is WiperState.WIPING


def test_by_inlet_pressure_the_difference_does_not_count() -> None:
    hand = Hand()
    hand.filter.trigger_mode = Trigger.INLET_PRESSURE
    hand.dp_bar = 99.0
    hand.run(30)
    assert not hand.filter.wiper.moving
    hand.inlet_bar = 126.0
    assert hand.until_it_starts() == 4
    assert hand.filter.last_trigger is Trigger.INLET_PRESSURE


def test_the_clock_counts_while_melt_flows_only() -> None:
    hand = Hand()
    hand.filter.trigger_mode = Trigger.CLOCK
    hand.dp_bar = 99.0
    assert hand.until_it_starts() == 540
    assert hand.filter.last_trigger is Trigger.CLOCK
    idle = Hand()
    idle.kg_s = 0.0
    assert idle.until_it_starts() > 700


def test_a_dead_sensor_leaves_the_clock() -> None:
    hand = Hand()
    hand.dp_bar = math.nan
    assert hand.until_it_starts() == 540


def test_by_hand_also_without_melt() -> None:
    hand = Hand()
    hand.kg_s = 0.0
    hand.filter.ask_for_wipe()
    assert hand.until_it_starts() == 1
    assert hand.filter.last_trigger is Trigger.BY_HAND
    hand.run(25)
    assert (hand.filter.wipes, hand.filter.discharged_kg) == (1, 0.0)


def test_a_trigger_that_is_inhibited_is_known_but_does_nothing() -> None:
    hand = Hand()
    hand.upsets.trigger_inhibited = True
    hand.dp_bar = 60.0
    hand.run(60)
    assert not hand.filter.wiper.moving
    assert hand.filter.trigger_unheard
    hand.filter.ask_for_wipe()
    assert hand.until_it_starts() == 1


def test_a_locked_drive_starts_nothing_and_forgets_what_was_asked_meanwhile() -> None:
    hand = Hand()
    hand.filter.locked = True
    hand.dp_bar = 60.0
    hand.filter.ask_for_wipe()
    hand.filter.jog()
    hand.run(30)
    assert not hand.filter.wiper.moving
    hand.dp_bar = 30.0
    hand.filter.locked = False
    hand.run(30)
    assert not hand.filter.wiper.moving
    hand.dp_bar = 60.0
    assert hand.until_it_starts() == 4


def test_jogging_turns_once_slowly_with_the_outlet_shut() -> None:
    hand = Hand()
    hand.run(200)
    hand.filter.jog()
    hand.run(5)
    assert hand.filter.state is WiperState.JOGGING
    assert not hand.filter.discharge.valve_open
    hand.run(30)
    assert hand.filter.state is WiperState.PARKED
    assert hand.filter.revs == pytest.approx(1.0)
    assert (hand.filter.wipes, hand.filter.discharged_kg) == (0, 0.0)


def test_without_a_pause_the_screen_stays_clean_and_a_stop_parks_the_wiper() -> None:
    hand = Hand()
    machine = hand.filter
    machine.continuous = True
    hand.run(1500)
    assert machine.state is WiperState.WIPING
    assert machine.speed_min == pytest.approx(FILM_FILTER.wiper.continuous_min)
    assert machine.wipes == int(machine.revs / 2.0 + 1e-6) > 3
    assert machine.difference_bar(KG_S, 221.0) < 40.0
    load_kg = machine.screen.load_kg
    hand.run(240)
    assert machine.screen.load_kg == pytest.approx(load_kg, rel=0.02)
    machine.continuous = False
    hand.run(60)
    assert machine.state is WiperState.PARKED
    machine.continuous = True
    hand.run(20)
    hand.kg_s = 0.0
    hand.run(60)
    assert machine.state is WiperState.PARKED


def test_a_cleaning_that_leaves_more_than_it_should_is_known() -> None:
    hand = Hand()
    hand.upsets.rest_share = 0.2
    hand.dp_bar = 60.0
    seen = 0
    for _ in range(30):
        hand.run(1)
        seen += hand.filter.wiped_with_rest
    assert seen == 1
