"""Faults together: factors multiply, the worst level counts, and what is remembered."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass
from itertools import pairwise

import pytest

from simulator.faults import FaultOrder, FaultsUnderWay, upsets_at
from simulator.machines.upsets import ProbeState


def _at_once(*names: str, place: int | None = None) -> list[FaultOrder]:
    return [FaultOrder(f"{k}", name, 0.0, place=place) for k, name in enumerate(names)]


def test_what_is_left_of_a_heater_multiplies() -> None:
    upset = upsets_at(1.0, _at_once("plate_half", "plate_half", "plate_third", place=3)).zones[
        "filter.plate.3"
    ]
    assert upset.power == pytest.approx(0.25 * 2.0 / 3.0)


def test_a_phase_takes_from_a_zone_what_another_fault_has_left() -> None:
    orders = [*_at_once("plate_half", place=4), FaultOrder("p", "phase_loss", 0.0, severity=0.5)]
    zones = upsets_at(1.0, orders).zones
    assert zones["filter.plate.4"].power == pytest.approx(0.25)
    assert zones["filter.plate.1"].power == pytest.approx(0.5)
    assert "filter.plate.2" not in zones


@pytest.mark.parametrize(
    "names", [("plate_probe_break", "plate_probe_detached"), ("plate_probe_detached", "plate_probe_break")]
)
def test_the_fault_of_a_thermocouple_that_hides_the_other_counts(names: tuple[str, str]) -> None:
    assert upsets_at(1.0, _at_once(*names, place=1)).zones["filter.plate.1"].probe is ProbeState.BREAK_UP


def test_factors_multiply_levels_take_the_worst_and_clocks_add_up() -> None:
    orders = [
        FaultOrder("a", "contam_up", 0.0),
        FaultOrder("b", "contam_up", 0.0, severity=0.5),
        FaultOrder("c", "screen_torn", 0.0, severity=0.3),
        FaultOrder("d", "screen_torn", 0.0, severity=0.6),
        FaultOrder("e", "clock_ahead", 0.0, source="filter"),
        FaultOrder("f", "clock_hour", 0.0, source="filter"),
        FaultOrder("g", "knife_fast", 0.0),
        FaultOrder("h", "knife_slow", 0.0),
        FaultOrder("i", "screen_blinding", 0.0, severity=0.5),
        FaultOrder("j", "screen_blinding", 0.0),
    ]
    upsets = upsets_at(1.0, orders)
    assert upsets.dirt_factor == pytest.approx(2.2 * 1.6)
    assert upsets.screen_tear == 0.6
    assert upsets.sources["filter"].clock_s == 3610.0
    assert upsets.knife_speed_error == pytest.approx(1.25 * 0.75 - 1.0)
    assert upsets.rest_share == pytest.approx(0.06)


def test_the_order_of_the_faults_does_not_matter() -> None:
    orders = [
        *_at_once("plate_half", "plate_welded", "plate_probe_short", "plate_probe_detached", place=2),
        FaultOrder("w", "wet_feed", 0.0, severity=0.4),
        FaultOrder("v", "wet_feed", 0.0, severity=0.7),
        FaultOrder("s", "sensor_span", 0.0, tag="die.pressure.pv"),
        FaultOrder("z", "sensor_zero_up", 0.0, tag="die.pressure.pv"),
    ]
    assert upsets_at(1.0, orders) == upsets_at(1.0, orders[::-1])


def test_a_loose_contact_breaks_for_seconds_now_and_then() -> None:
    orders = _at_once("barrel_probe_loose", place=1)
    open_ = ["extruder.zone.1" in upsets_at(s, orders).zones for s in range(600)]
    breaks = sum(1 for before, now in pairwise(open_) if now and not before)
    # Each shows twice as a jump: enough to be called loose within ten minutes.
    assert 12 <= breaks <= 15
    assert 0.02 < sum(open_) / 600 < 0.12
    rare = [FaultOrder("0", "barrel_probe_loose", 0.0, severity=0.25, place=1)]
    assert sum("extruder.zone.1" in upsets_at(s, rare).zones for s in range(600)) < sum(open_)


def test_a_residue_goes_with_the_melt_not_with_the_time() -> None:
    faults = FaultsUnderWay([FaultOrder("r", "residue", 100.0)])
    assert faults.upsets(99.0, 500.0).residue_share == 0.0
    assert faults.upsets(100.0, 500.0).residue_share == pytest.approx(1.0)
    assert faults.upsets(4000.0, 500.0).residue_share == pytest.approx(1.0)
    shares = [faults.upsets(4000.0, 500.0 + kg).residue_share for kg in (5.0, 10.0, 50.0, 100.0, 300.0)]
    assert shares == sorted(shares, reverse=True)
    # 780 kg/h bring 65 kg in five minutes: what is left then is a few percent.
    assert faults.upsets(4000.0, 565.0).residue_share == pytest.approx(0.05, abs=0.01)
    assert shares[-1] < 0.001


@dataclass
class _Zone:
    taken_out: bool = False


def test_a_plate_is_taken_out_and_put_back_and_others_are_left_alone() -> None:
    zones = {f"filter.plate.{n}": _Zone() for n in (1, 2, 3)}
    faults = FaultsUnderWay(
        [
            FaultOrder("a", "plate_taken_out", 10.0, 20.0, place=2),
            FaultOrder("b", "plate_taken_out", 10.0, 20.0, place=3),
        ]
    )
    zones["filter.plate.3"].taken_out = True
    seen = []
    for second in (9, 10, 19, 20):
        faults.hands_on(faults.upsets(second), zones)
        seen.append([z.taken_out for z in zones.values()])
    assert seen == [[False, False, True], [False, True, True], [False, True, True], [False, False, True]]


def test_without_one_fault_the_others_remember_what_they_did() -> None:
    faults = FaultsUnderWay([FaultOrder("r", "residue", 0.0), FaultOrder("s", "screen_torn", 0.0)])
    faults.upsets(0.0, 40.0)
    rest = faults.without("s").upsets(60.0, 50.0)
    assert rest == deepcopy(faults).without("s").upsets(60.0, 50.0)
    assert rest.screen_tear == 0.0
    assert rest.residue_share == pytest.approx(faults.upsets(60.0, 50.0).residue_share)
    assert rest.residue_share < 0.6
