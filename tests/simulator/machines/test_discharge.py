"""The outlet of the dirt: carried melt, blocked, frozen, leaking, the late scale."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.discharge import Discharge, DischargeDesign
from simulator.machines.melt import POLYMERS
from simulator.machines.upsets import Upsets

LDPE = POLYMERS["LDPE"]
DESIGN = DischargeDesign()
STREAM_KG_S = 0.2167


def _clean(outlet: Discharge, upsets: Upsets, *, dirt_kg: float = 0.5, block_cel: float = 215.0) -> float:
    """One cleaning of 20 s and the rest of two minutes; all that came out, kg."""
    out_kg = 0.0
    for second in range(120):
        wiping = second < 20
        part = 1.0 / 20.0 if wiping else 0.0
        out_kg += sum(
            outlet.step(1.0, upsets, LDPE, block_cel, STREAM_KG_S, 0.014, wiping, dirt_kg * part, part)
        )
    return out_kg


def _wait(outlet: Discharge, upsets: Upsets, seconds: int, block_cel: float = 215.0) -> float:
    return sum(
        sum(outlet.step(1.0, upsets, LDPE, block_cel, STREAM_KG_S, 0.014, False, 0.0, 0.0))
        for _ in range(seconds)
    )


def test_a_cleaning_brings_its_dirt_and_some_melt() -> None:
    outlet = Discharge(DESIGN)
    assert _clean(outlet, Upsets()) == pytest.approx(0.5 + 0.55)
    assert outlet.discharged_kg == pytest.approx(1.05)
    assert outlet.dirt_discharged_kg == pytest.approx(0.5 + 0.014 * 0.55)
    assert outlet.heap_kg == pytest.approx(0.0, abs=1e-12)


def test_blocked_it_gives_nothing_the_dirt_waits_and_the_screw_labours() -> None:
    outlet = Discharge(DESIGN)
    blocked = Upsets(discharge_block=1.0)
    outlet.step(1.0, blocked, LDPE, 215.0, STREAM_KG_S, 0.014, True, 0.0, 0.0)
    assert outlet.torque_percent > 85.0
    assert _clean(outlet, blocked) == 0.0
    assert outlet.heap_kg == pytest.approx(0.5)
    assert outlet.hinders(0.0) > 0.6
    # Free again, the next cleaning brings what waited, too, and melt with it.
    assert 1.5 < _clean(outlet, Upsets()) < 1.7
    assert outlet.heap_kg < 0.1


@pytest.mark.parametrize(("block_cel", "free"), [(215.0, 1.0), (142.5, 0.5), (120.0, 0.0)])
def test_a_cold_block_freezes_the_outlet(block_cel: float, free: float) -> None:
    outlet = Discharge(DESIGN)
    assert outlet.open_share(Upsets(), LDPE, block_cel) == pytest.approx(free)
    assert _clean(outlet, Upsets(), block_cel=block_cel) == pytest.approx(1.05 * free, abs=0.3)


def test_a_valve_that_does_not_close_loses_three_percent_of_the_stream() -> None:
    outlet = Discharge(DESIGN)
    assert _wait(outlet, Upsets(), 100) == 0.0
    assert _wait(outlet, Upsets(discharge_leak=1.0), 100) == pytest.approx(0.03 * STREAM_KG_S * 100.0)
    assert _wait(outlet, Upsets(discharge_leak=1.0), 100, block_cel=100.0) == 0.0


@pytest.mark.parametrize("dt_s", [0.2, 1.0])
def test_the_scale_is_late_and_goes_in_steps(dt_s: float) -> None:
    outlet = Discharge(DESIGN)
    history = []
    for _ in range(round(30.0 / dt_s)):
        outlet.step(dt_s, Upsets(), LDPE, 215.0, STREAM_KG_S * dt_s, 0.0, True, 0.0, dt_s / 20.0)
        history.append((outlet.discharged_kg, outlet.scale_kg))
    late = round(5.0 / dt_s)
    assert history[late - 1][1] == 0.0
    assert history[-1][1] > 0.3
    for (real_kg, _), (_, shown_kg) in zip(history, history[late:], strict=False):
        assert 0.0 <= real_kg - shown_kg + 1e-9 < 0.02 + 2e-9
        assert round(shown_kg / 0.02) == pytest.approx(shown_kg / 0.02)


def test_the_screw_lets_out_a_steady_stream_until_the_outlet_is_empty() -> None:
    outlet = Discharge(DESIGN)
    drawn = []
    for second in range(80):
        wiping = second < 20
        part = 0.05 if wiping else 0.0
        drawn.append(
            sum(outlet.step(1.0, Upsets(), LDPE, 215.0, STREAM_KG_S, 0.014, wiping, 0.5 * part, part))
        )
        if second == 25:
            assert (outlet.valve_open, outlet.screw_min) == (True, DESIGN.screw_min)
            assert 20.0 < outlet.torque_percent < 60.0
    assert max(drawn) == pytest.approx(DESIGN.meters_kg_s)
    assert sum(drawn) == pytest.approx(1.05)
    assert sum(kg > 0.0 for kg in drawn) == pytest.approx(1.05 / DESIGN.meters_kg_s, abs=3)
    assert (outlet.valve_open, outlet.screw_min, outlet.torque_percent) == (False, 0.0, 0.0)


def test_by_hand_the_heap_falls_on_the_scale_at_once() -> None:
    outlet = Discharge(DESIGN)
    for _ in range(4):
        _clean(outlet, Upsets(discharge_block=1.0))
    assert outlet.clear(3.1) == pytest.approx(5.1)
    assert outlet.heap_kg == 0.0
    _wait(outlet, Upsets(), 6)
    assert outlet.scale_kg == pytest.approx(5.1, abs=0.02)


@given(
    block=st.floats(0.0, 1.0),
    block_cel=st.floats(80.0, 230.0),
    portions=st.lists(st.floats(0.0, 0.4), min_size=1, max_size=30),
    stream_kg=st.floats(0.0, 0.4),
)
@settings(max_examples=60, deadline=None)
def test_no_mass_is_made_or_negative(
    block: float, block_cel: float, portions: list[float], stream_kg: float
) -> None:
    outlet = Discharge(DESIGN)
    upsets = Upsets(discharge_block=block)
    left_kg = dirt_kg = 0.0
    for portion_kg in portions:
        melt_kg, off_kg = outlet.step(1.0, upsets, LDPE, block_cel, stream_kg, 0.0, True, portion_kg, 0.1)
        assert min(melt_kg, off_kg, outlet.heap_kg) >= -1e-15
        assert melt_kg + off_kg <= 0.6 * stream_kg + 1e-12
        left_kg += melt_kg + off_kg
        dirt_kg += off_kg
    assert dirt_kg + outlet.heap_kg == pytest.approx(sum(portions), abs=1e-9)
    assert outlet.discharged_kg == pytest.approx(left_kg)
