"""Pellets in the water: how warm they arrive at the dryer, what is caught."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.machines.melt import POLYMERS
from simulator.machines.quench import Quench, QuenchDesign, kept_share
from tests.support.pellet_line import running

LDPE = POLYMERS["LDPE"]


def test_pellets_arrive_warm_enough_to_dry() -> None:
    # Mean temperature of a pellet after the water: 60 Cel and a little more.
    assert 58.0 < running().machines.quench.pellet_cel < 72.0


def test_bigger_pellets_and_faster_water_leave_more_heat_in() -> None:
    assert kept_share(30.0, 5.0) > kept_share(18.3, 5.0) > kept_share(18.3, 6.0)
    assert kept_share(18.3, 0.0) == 1.0
    assert kept_share(0.0, 5.0) == 0.0


@given(st.floats(1.0, 200.0))
def test_the_two_forms_of_the_solution_meet(volume: float) -> None:
    # Where the short-time form ends the long-time one goes on: within half a percent.
    radius = (0.75 * volume / 3.141592653589793) ** (1.0 / 3.0)
    join_s = 0.1 * radius**2 / 0.10
    assert kept_share(volume, join_s * 0.999999) == pytest.approx(
        kept_share(volume, join_s * 1.000001), rel=5e-3
    )


def test_fines_and_lumps_are_caught_and_counted() -> None:
    quench = Quench(QuenchDesign())
    for _ in range(600):
        quench.step(1.0, LDPE, 0.2, 224.0, 18.3, 46.0, 1.0, 0.5, 3.0)
    # 0.5 % fines, and of 3 % agglomerates what is above 1 %.
    through = 0.2 * (600 - 5)
    assert quench.fines_kg == pytest.approx(0.005 * through, rel=1e-9)
    assert quench.lumps_kg == pytest.approx(0.02 * through, rel=1e-9)
    assert quench.pellets_kg_s == pytest.approx(0.2 * 0.975, rel=1e-9)
    quench.empty_catchers()
    assert quench.fines_kg == quench.lumps_kg == 0.0
    account = quench.account
    assert account.in_kg - account.out_kg == pytest.approx(quench.held_kg, rel=1e-9)
    assert account.in_kj - account.out_kj == pytest.approx(quench.held_kj, abs=1e-9 * account.in_kj)


@given(
    kg_s=st.floats(0.0, 0.6),
    cel=st.floats(180.0, 300.0),
    volume=st.floats(0.1, 400.0),
    water=st.floats(5.0, 99.0),
    share=st.floats(0.0, 1.5),
    fines=st.floats(0.0, 100.0),
    lumps=st.floats(0.0, 100.0),
)
def test_pellets_end_between_water_and_melt(
    kg_s: float, cel: float, volume: float, water: float, share: float, fines: float, lumps: float
) -> None:
    quench = Quench(QuenchDesign())
    for _ in range(12):
        quench.step(1.0, LDPE, kg_s, cel, volume, water, share, fines, lumps)
        assert quench.pellets_kg_s >= 0.0
        assert quench.to_water_kw >= 0.0
    if kg_s > 1e-9:
        assert water - 1e-6 <= quench.pellet_cel <= cel + 1e-6
    account = quench.account
    assert account.in_kg - account.out_kg == pytest.approx(quench.held_kg, abs=1e-9)
    assert account.in_kj - account.out_kj == pytest.approx(quench.held_kj, abs=1e-6)
