"""The melt pump: it holds the pressure before it, warms the melt, starves."""

from __future__ import annotations

from math import exp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.melt import POLYMERS
from simulator.machines.melt_pump import MeltPump, MeltPumpDesign
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from tests.support.heating import switch

LDPE = POLYMERS["LDPE"]


class Stand:
    """A warm melt pump before a die of 60 bar at 780 kg/h."""

    def __init__(self, dt_s: float = 1.0) -> None:
        self.dt_s = dt_s
        self.pump = MeltPump(MeltPumpDesign(), LDPE, start_cel=220.0)
        switch(self.pump.zones, True)
        self.pump.enabled = True
        self.outlet_bar = 0.0

    def run(self, seconds: float, kg_h: float, *, cel: float = 221.0, stiffness: float = 1.0) -> None:
        for _ in range(round(seconds / self.dt_s)):
            kg_s = self.pump.step(self.dt_s, Site(), Upsets(), kg_h / 3600.0, cel, self.outlet_bar, stiffness)
            target = 60.0 * stiffness * (kg_s * 3600.0 / 780.0) ** LDPE.exponent
            self.outlet_bar += (target - self.outlet_bar) * (1.0 - exp(-self.dt_s / 1.5))


@pytest.mark.parametrize("dt_s", [0.2, 1.0])
def test_it_holds_the_pressure_before_it(dt_s: float) -> None:
    stand = Stand(dt_s)
    stand.run(240.0, 780.0)
    pump = stand.pump
    assert pump.inlet_bar == pytest.approx(35.0, abs=0.5)
    assert pump.flow_kg_s * 3600.0 == pytest.approx(780.0, rel=1e-3)
    pump.inlet_setpoint_bar = 50.0
    stand.run(240.0, 780.0)
    assert pump.inlet_bar == pytest.approx(50.0, abs=0.5)


def test_its_speed_follows_the_flow() -> None:
    stand = Stand()
    stand.run(200.0, 400.0)
    slow = stand.pump.speed_min
    stand.run(200.0, 780.0)
    assert stand.pump.speed_min / slow == pytest.approx(780.0 / 400.0, rel=0.03)
    assert not stand.pump.starves


def test_melt_gets_warmer_by_what_the_drive_puts_in() -> None:
    stand = Stand()
    stand.run(900.0, 780.0)
    pump = stand.pump
    shaft_kw = pump.power_kw * pump.design.drive_efficiency
    rise_bar = stand.outlet_bar - pump.inlet_bar
    useful_kw = 100.0 * rise_bar / LDPE.density_kg_m3 * pump.flow_kg_s
    zones_kw = sum(z.design.melt_kw_k * (pump.out_cel - z.true_cel) for z in pump.zones)
    risen_kw = pump.flow_kg_s * LDPE.heat_kj_kg_k * (pump.out_cel - 221.0)
    assert risen_kw == pytest.approx(shaft_kw - useful_kw - zones_kw, rel=0.01)
    assert pump.out_cel > 222.0


def test_too_little_melt_starves_it() -> None:
    stand = Stand()
    stand.pump.automatic = False
    stand.pump.speed_setpoint_min = 32.0
    stand.run(120.0, 500.0)
    assert stand.pump.starves
    assert stand.pump.inlet_bar < 8.0
    assert stand.pump.flow_kg_s * 3600.0 == pytest.approx(500.0, rel=0.01)


def test_a_stiffer_melt_takes_more_torque() -> None:
    stand = Stand()
    stand.run(300.0, 780.0)
    torque = stand.pump.torque_percent
    stand.run(300.0, 780.0, stiffness=1.5)
    assert stand.pump.torque_percent > 1.3 * torque


def test_switched_off_it_lets_nothing_pass() -> None:
    stand = Stand()
    stand.run(100.0, 780.0)
    stand.pump.enabled = False
    stand.run(60.0, 0.0)
    assert stand.pump.speed_min == 0.0
    assert stand.pump.power_kw == stand.pump.torque_percent == 0.0
    assert stand.pump.flow_kg_s == 0.0


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 1200.0),
            st.floats(150.0, 280.0),
            st.floats(0.4, 2.5),
            st.booleans(),
            st.booleans(),
            st.floats(0.0, 60.0),
        ),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from([0.2, 1.0]),
)
def test_mass_and_heat_close_and_nothing_is_negative(
    parts: list[tuple[float, float, float, bool, bool, float]], dt_s: float
) -> None:
    stand = Stand(dt_s)
    pump = stand.pump
    before_kg, before_kj = pump.held_kg, pump.held_kj
    for kg_h, cel, stiffness, enabled, automatic, speed in parts:
        pump.enabled, pump.automatic = enabled, automatic
        if not automatic:
            pump.speed_setpoint_min = speed
        # Melt cannot be pushed into a pump that stands.
        stand.run(30.0, kg_h if enabled else 0.0, cel=cel, stiffness=stiffness)
        assert pump.inlet_bar >= 0.0
        assert pump.flow_kg_s >= 0.0
        assert 0.0 <= pump.filling <= 1.0
        assert pump.out_cel > 100.0
    account = pump.account
    assert account.in_kg - account.out_kg == pytest.approx(pump.held_kg - before_kg, abs=1e-9)
    assert account.in_kj - account.out_kj == pytest.approx(pump.held_kj - before_kj, abs=1e-5)
