"""Diverter and scales: where the mass goes, and when."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.catalogue import DIVERTER_STATES
from simulator.machines.outlet import GOOD, PURGE, REJECT, Outlet, OutletDesign


def test_its_codes_are_those_of_the_tag() -> None:
    assert DIVERTER_STATES == {GOOD: "good", REJECT: "reject", PURGE: "purge"}


@pytest.mark.parametrize("dt_s", [0.2, 1.0])
def test_pellets_reach_the_scale_twenty_seconds_after_the_diverter(dt_s: float) -> None:
    outlet = Outlet(OutletDesign())
    outlet.diverter = GOOD
    seconds = 0.0
    while outlet.product_kg == 0.0:
        outlet.step(dt_s, 0.2, 120.0, 0.0, 0.0)
        seconds += dt_s
        assert seconds < 60.0
    assert seconds - dt_s == pytest.approx(22.4, abs=0.5)


def test_each_way_has_its_own_end() -> None:
    outlet = Outlet(OutletDesign())
    for code in (GOOD, REJECT, PURGE):
        outlet.diverter = code
        for _ in range(100):
            outlet.step(1.0, 0.2, 120.0, 0.0, 0.0)
    # The two seconds of pipe before the diverter lag behind its moves.
    assert outlet.product_kg == pytest.approx(0.2 * 98)
    assert outlet.reject_kg == pytest.approx(20.0)
    assert outlet.purge_kg == pytest.approx(20.0)
    assert outlet.held_kg == pytest.approx(0.4)


def test_melt_that_is_not_cut_lies_on_the_floor() -> None:
    outlet = Outlet(OutletDesign())
    outlet.diverter = GOOD
    outlet.step(1.0, 0.0, 0.0, 0.2, 650.0)
    assert outlet.purge_kg == 0.2
    assert outlet.account.out_kj == pytest.approx(130.0)


def test_the_bag_starts_again_and_the_count_goes_on() -> None:
    outlet = Outlet(OutletDesign(bag_kg=50.0))
    outlet.diverter = GOOD
    falls, last = 0, 0.0
    shown = []
    for _ in range(700):
        outlet.step(1.0, 0.2, 120.0, 0.0, 0.0)
        falls += outlet.bag_scale_kg < last
        last = outlet.bag_scale_kg
        shown.append(outlet.product_scale_kg)
    assert falls == outlet.bags == 2
    assert shown == sorted(shown)
    assert outlet.product_scale_kg == pytest.approx(0.2 * 678, abs=0.5)


def test_scales_show_half_kilograms() -> None:
    outlet = Outlet(OutletDesign())
    outlet.diverter = REJECT
    for _ in range(60):
        outlet.step(1.0, 0.23, 120.0, 0.0, 0.0)
        assert outlet.reject_scale_kg % 0.5 == 0.0
    assert 0.0 <= outlet.reject_kg - outlet.reject_scale_kg < 0.5


@given(st.lists(st.tuples(st.sampled_from([GOOD, REJECT, PURGE]), st.floats(0.0, 0.5), st.floats(0.0, 0.5))))
def test_nothing_is_lost(steps: list[tuple[int, float, float]]) -> None:
    outlet = Outlet(OutletDesign())
    for code, pellets, lumps in steps:
        outlet.diverter = code
        outlet.step(1.0, pellets, 120.0, lumps, 600.0)
    account = outlet.account
    assert account.in_kg - account.out_kg == pytest.approx(outlet.held_kg, abs=1e-9)
    assert account.in_kj - account.out_kj == pytest.approx(outlet.held_kj, abs=1e-6)
    assert account.out_kg == pytest.approx(outlet.product_kg + outlet.reject_kg + outlet.purge_kg, abs=1e-9)
