"""Loss in weight, refills, bridges, and the balance of the hopper."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.doser import MODE_GRAVIMETRIC, MODE_VOLUMETRIC, Doser, DoserDesign
from simulator.machines.material import MATERIALS, Material
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets

FILM = MATERIALS["film"]


class Stand:
    """A doser with its surroundings."""

    def __init__(self, *, start_kg: float = 220.0, dt_s: float = 1.0, material: Material = FILM) -> None:
        self.site = Site()
        self.upsets = Upsets()
        self.material = material
        self.dt_s = dt_s
        self.doser = Doser(DoserDesign(start_kg=start_kg), material, start_cel=20.0)
        self.doser.setpoint_kg_h = 780.0
        self.fallen_kg = 0.0

    def run(self, seconds: float, *, density: float = 1.0, scale: float = 1.0, blocked: bool = False) -> None:
        for _ in range(round(seconds / self.dt_s)):
            kg_s = self.doser.step(
                self.dt_s,
                self.site,
                self.upsets,
                True,
                self.material,
                density_factor=density,
                scale_factor=scale,
                blocked=blocked,
            )
            self.fallen_kg += kg_s * self.dt_s


def test_it_gives_what_was_set() -> None:
    stand = Stand()
    stand.run(120.0)
    assert stand.doser.mode == MODE_GRAVIMETRIC
    assert stand.doser.rate_kg_h == pytest.approx(780.0, rel=0.01)
    assert stand.doser.shown_kg_h == pytest.approx(780.0, rel=0.01)


def test_lighter_feed_is_met_by_a_faster_screw() -> None:
    stand = Stand()
    stand.run(120.0)
    speed = stand.doser.screw_min
    stand.run(240.0, density=0.9)
    assert stand.doser.rate_kg_h == pytest.approx(780.0, rel=0.01)
    assert stand.doser.screw_min == pytest.approx(speed / 0.9, rel=0.02)
    assert stand.doser.feed_factor == pytest.approx(780.0 / stand.doser.screw_min, rel=0.02)


def test_without_its_scale_it_follows_the_bulk_density_and_does_not_know() -> None:
    stand = Stand()
    stand.run(120.0)
    stand.upsets.volumetric = True
    stand.run(60.0, density=0.9)
    assert stand.doser.mode == MODE_VOLUMETRIC
    assert stand.doser.rate_kg_h == pytest.approx(0.9 * 780.0, rel=0.015)
    assert stand.doser.shown_kg_h == pytest.approx(780.0, rel=0.015)


def test_a_scale_that_lies_makes_it_give_another_rate() -> None:
    stand = Stand()
    stand.run(300.0, scale=1.03)
    assert stand.doser.shown_kg_h == pytest.approx(780.0, rel=0.01)
    assert stand.doser.rate_kg_h == pytest.approx(1.03 * 780.0, rel=0.01)


def test_a_refill_runs_volumetric_for_about_a_minute_and_a_half() -> None:
    stand = Stand(start_kg=75.0)
    stand.run(30.0)
    assert stand.doser.mode == MODE_GRAVIMETRIC
    blind = opened = 0.0
    while stand.doser.mode == MODE_GRAVIMETRIC:
        stand.run(1.0)
    while stand.doser.mode == MODE_VOLUMETRIC:
        stand.run(1.0)
        blind += 1.0
        opened += float(stand.doser.refilling)
    assert 60.0 < opened < blind < 110.0
    assert stand.doser.level_percent > 85.0
    assert stand.doser.supplied_kg == pytest.approx(3.0 * (opened + 1.0), abs=3.1)


def test_a_bridge_lets_less_through_unevenly_and_the_screw_cannot_help() -> None:
    stand = Stand()
    stand.run(120.0)
    stand.upsets.feed_bridge = 1.0
    stand.run(100.0)
    rates = []
    for _ in range(80):
        stand.run(1.0)
        rates.append(stand.doser.rate_kg_h)
    assert min(rates) == pytest.approx(0.55 * 780.0, rel=0.02)
    assert max(rates) == pytest.approx(0.775 * 780.0, rel=0.02)
    assert stand.doser.feed_factor < 0.95 * 780.0 / 59.8
    torque = stand.doser.screw_torque_percent
    stand.upsets.feed_bridge = 0.0
    stand.run(200.0)
    assert stand.doser.rate_kg_h == pytest.approx(780.0, rel=0.02)
    assert torque < stand.doser.screw_torque_percent


def test_a_full_throat_stops_the_feed_and_loads_the_screw() -> None:
    stand = Stand()
    stand.run(60.0)
    weight = stand.doser.weight_kg
    stand.run(20.0, blocked=True)
    assert stand.doser.rate_kg_h == 0.0
    assert stand.doser.weight_kg == weight
    assert stand.doser.screw_torque_percent > 85.0


def test_without_supply_the_hopper_runs_empty_and_no_further() -> None:
    stand = Stand(start_kg=20.0)
    stand.doser.refill_open = False
    stand.run(400.0)
    assert stand.doser.weight_kg == pytest.approx(0.0, abs=1e-9)
    assert stand.doser.rate_kg_h == 0.0


def test_the_step_does_not_matter() -> None:
    coarse, fine = Stand(), Stand(dt_s=0.2)
    for stand in (coarse, fine):
        stand.run(600.0)
    assert fine.fallen_kg == pytest.approx(coarse.fallen_kg, rel=2e-3)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 1200.0),
            st.floats(0.5, 1.4),
            st.floats(0.0, 1.0),
            st.booleans(),
            st.booleans(),
            st.floats(5.0, 38.0),
        ),
        min_size=1,
        max_size=8,
    ),
    st.sampled_from([0.2, 1.0]),
)
def test_mass_and_heat_close_whatever_happens(
    parts: list[tuple[float, float, float, bool, bool, float]], dt_s: float
) -> None:
    stand = Stand(start_kg=90.0, dt_s=dt_s)
    doser = stand.doser
    before_kg, before_kj = doser.held_kg, doser.held_kj
    coldest = 20.0
    for setpoint, density, bridge, blocked, volumetric, hall in parts:
        doser.setpoint_kg_h = setpoint
        stand.upsets.feed_bridge = bridge
        stand.upsets.volumetric = volumetric
        stand.site.ambient_cel = hall
        coldest = min(coldest, hall)
        stand.run(60.0, density=density, blocked=blocked)
        assert doser.weight_kg >= 0.0
        assert doser.rate_kg_h >= 0.0
        assert doser.out_cel >= coldest - 1e-9
    account = doser.account
    assert account.in_kg - account.out_kg == pytest.approx(doser.held_kg - before_kg, abs=1e-9)
    assert account.in_kj - account.out_kj == pytest.approx(doser.held_kj - before_kj, abs=1e-6)
    assert account.out_kg == pytest.approx(stand.fallen_kg, abs=1e-9)
