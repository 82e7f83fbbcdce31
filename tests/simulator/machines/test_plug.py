"""The conveying pipe: order, delay, nothing lost."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.machines.plug import Plug


@pytest.mark.parametrize("dt_s", [0.2, 1.0])
def test_what_enters_leaves_after_the_delay(dt_s: float) -> None:
    plug = Plug(8.0)
    left = []
    for k in range(round(20.0 / dt_s)):
        plug.step(dt_s, 1.0 if k == 0 else 0.0, 5.0 if k == 0 else 0.0)
        left.append(plug.out_kg)
    assert left.index(1.0) == round(8.0 / dt_s)
    assert sum(left) == 1.0
    assert plug.held_kg == 0.0


@given(st.lists(st.tuples(st.sampled_from([0.2, 1.0]), st.floats(0.0, 5.0)), max_size=80))
def test_nothing_is_lost_even_when_the_step_changes(steps: list[tuple[float, float]]) -> None:
    plug = Plug(3.0)
    went_in = came_out = 0.0
    for dt_s, mass in steps:
        plug.step(dt_s, mass, 3.0 * mass)
        went_in += mass
        came_out += plug.out_kg
        assert plug.out_kg >= 0.0
    assert went_in - came_out == pytest.approx(plug.held_kg, abs=1e-9)
    assert 3.0 * plug.held_kg == pytest.approx(plug.held_kj, abs=1e-9)
