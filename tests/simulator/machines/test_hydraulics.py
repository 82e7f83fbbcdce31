"""The wiper's oil: pressure between its limits, contact, warmth, balance."""

from __future__ import annotations

import pytest

from simulator.machines.hydraulics import Hydraulics, HydraulicsDesign
from simulator.machines.site import Site

DESIGN = HydraulicsDesign()


@pytest.mark.parametrize("dt_s", [0.2, 1.0])
def test_the_pump_keeps_the_oil_between_its_limits(dt_s: float) -> None:
    oil = Hydraulics(DESIGN, start_cel=20.0)
    seen = []
    ran_s = 0.0
    for k in range(round(3600 / dt_s)):
        oil.step(dt_s, Site(), k * dt_s % 240.0 < 22.0, 215.0)
        seen.append(oil.oil_bar)
        ran_s += dt_s if oil.pumping else 0.0
    assert DESIGN.low_bar - 2.0 < min(seen[100:])
    assert max(seen) < DESIGN.high_bar + 5.0
    assert 0.01 < ran_s / 3600.0 < 0.10


def test_blades_press_while_wiping_and_little_at_rest() -> None:
    oil = Hydraulics(DESIGN, start_cel=20.0)
    oil.step(1.0, Site(), False, 215.0)
    assert oil.contact_share == pytest.approx(DESIGN.rest_share)
    for _ in range(6):
        oil.step(1.0, Site(), True, 215.0)
    assert oil.contact_bar == pytest.approx(30.0, abs=0.1)
    oil.contact_setpoint_bar = 15.0
    for _ in range(10):
        oil.step(1.0, Site(), True, 215.0)
    assert oil.contact_share == pytest.approx(0.5, abs=0.01)


def test_the_oil_warms_by_pump_and_housing_and_no_heat_is_lost_sight_of() -> None:
    oil = Hydraulics(DESIGN, start_cel=20.0)
    before_kj = oil.held_kj
    got_kj = 0.0
    for k in range(20_000):
        got_kj += oil.step(1.0, Site(), k % 240 < 22, 215.0) + oil.pump_kw
    assert 30.0 < oil.oil_cel < 55.0
    assert got_kj - oil.lost_kj == pytest.approx(oil.held_kj - before_kj, rel=1e-9)
