from __future__ import annotations

import pytest

from simulator.faults import FAULTS, FaultOrder, upsets_at
from simulator.filter import ORDINARY_REST


def test_the_level_ramps_from_onset_to_severity_and_ends() -> None:
    order = FaultOrder("x", "contam_up", 100.0, 300.0, ramp_s=50.0, severity=0.8)
    assert [order.level(s) for s in (99, 100, 125, 150, 299, 300)] == [0.0, 0.0, 0.4, 0.8, 0.8, 0.0]


def test_without_a_ramp_it_is_there_at_once_and_without_an_end_it_stays() -> None:
    order = FaultOrder("x", "plate_open", 100.0, place=2)
    assert [order.level(s) for s in (99, 100, 10**7)] == [0.0, 1.0, 1.0]


@pytest.mark.parametrize(
    ("fault", "severity", "power"),
    [("plate_open", 1.0, 0.0), ("plate_open", 0.25, 0.75), ("plate_half", 1.0, 0.5)],
)
def test_a_plate_loses_power_at_its_place_only(fault: str, severity: float, power: float) -> None:
    upsets = upsets_at(1.0, [FaultOrder("x", fault, 0.0, severity=severity, place=5)])
    assert upsets.plate_power == {5: power}


def test_faults_add_up_and_a_sound_plant_has_none() -> None:
    orders = [
        FaultOrder("a", "plate_half", 0.0, place=1),
        FaultOrder("b", "plate_half", 0.0, place=1),
        FaultOrder("c", "screen_blinding", 0.0, severity=0.5),
        FaultOrder("d", "contam_up", 0.0),
        FaultOrder("e", "cleaning_skipped", 0.0),
    ]
    upsets = upsets_at(1.0, orders)
    assert upsets.plate_power == {1: 0.25}
    assert upsets.rest_share == pytest.approx((ORDINARY_REST + 0.06) / 2)
    assert upsets.dirt_factor == pytest.approx(2.2)
    assert upsets.trigger_inhibited
    sound = upsets_at(1.0, [])
    assert (sound.plate_power, sound.rest_share, sound.dirt_factor) == ({}, ORDINARY_REST, 1.0)
    assert not sound.trigger_inhibited


@pytest.mark.parametrize("name", list(FAULTS))
def test_every_fault_says_where_it_shows_and_what_severity_means(name: str) -> None:
    kind = FAULTS[name]
    assert "severity" in kind.text
    tags = FaultOrder("x", name, 0.0, place=3 if kind.needs_place else None).tags()
    assert tags
    assert not [t for t in tags if "{" in t or "None" in t]
