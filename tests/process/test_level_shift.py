"""Whether the level of a signal has shifted."""

from __future__ import annotations

import json

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from process.level_shift import LevelShift


def shifts(values: list[float]) -> list[int]:
    one = LevelShift()
    return [n for n, v in enumerate(values) if one.push(v)]


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([0.8, 0.85, 1.15, 1.25]))
def test_a_step_is_seen_once_and_soon(seed: int, factor: float):
    chance = np.random.default_rng(seed)
    values = 60 * (1 + 0.005 * chance.standard_normal(400))
    values[200:] *= factor
    found = shifts(values.tolist())
    assert len(found) == 1 and 200 <= found[0] <= 206


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.floats(-0.05, 0.05))
def test_scatter_slow_drift_and_small_steps_are_none(seed: int, step: float):
    chance = np.random.default_rng(seed)
    values = 60 * (1 + 0.005 * chance.standard_normal(600)) + np.linspace(0, 4, 600)
    values[300:] *= 1 + step
    assert shifts(values.tolist()) == []


def test_it_goes_on_after_a_restart():
    values = [60.0 + (n % 7) * 0.1 for n in range(150)] + [70.0] * 10
    one, found = LevelShift(), []
    for n, value in enumerate(values):
        again = LevelShift()
        again.restore(json.loads(json.dumps(one.save())))
        one = again
        if one.push(value):
            found.append(n)
    assert found == shifts(values) != []
