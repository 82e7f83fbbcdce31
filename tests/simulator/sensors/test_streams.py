from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.chance import BLOCK_STEPS
from simulator.sensors import Sensor, Signal
from simulator.sensors.streams import Streams


def _streams(sensor: Sensor, seed: int = 1, step_s: float = 1.0) -> Streams:
    return Streams([Signal("a.temp.pv", lambda: 0.0, sensor)], seed=seed, step_s=step_s)


@given(
    seed=st.integers(0, 2**31),
    jitter_s=st.floats(0.001, 0.6),
    step_s=st.sampled_from([0.2, 0.4, 1.0]),
    first=st.integers(0, 3 * BLOCK_STEPS),
)
@settings(max_examples=40, deadline=None)
def test_jitter_never_reorders_two_samples(seed: int, jitter_s: float, step_s: float, first: int) -> None:
    indices = range(first, first + 700)
    late_ms = _streams(Sensor(jitter_s=jitter_s), seed, step_s).at(indices).late_ms[:, 0]
    assert late_ms.min() >= 0
    assert np.all(np.diff(np.array(indices) * round(step_s * 1000) + late_ms) > 0)


def test_jitter_is_as_wide_as_asked() -> None:
    late_ms = _streams(Sensor(jitter_s=0.08)).at(range(20_000)).late_ms[:, 0]
    assert (late_ms.min(), late_ms.max()) == (0, 160)
    assert late_ms.mean() == pytest.approx(80.0, abs=1.5)
    # Evenly spread: a standard deviation of the width over the root of twelve.
    assert late_ms.std() == pytest.approx(161 / 12**0.5, rel=0.03)


def test_drift_is_slow_bounded_and_begins_at_nought() -> None:
    sensor = Sensor(drift_per_root_h=0.5, drift_bound=1.0)
    drift = _streams(sensor).at(range(60 * 3600)).drift[:, 0]
    assert drift[0] == 0.0
    assert np.abs(drift).max() <= 1.0
    assert np.abs(drift).max() > 0.8
    assert np.abs(np.diff(drift)).max() < 0.005


def test_drift_grows_with_the_root_of_time() -> None:
    sensor = Sensor(drift_per_root_h=0.5)
    after_1_h, after_4_h = [
        np.array([_streams(sensor, seed).at([hours * 3600]).drift[0, 0] for seed in range(300)])
        for hours in (1, 4)
    ]
    assert after_1_h.std() == pytest.approx(0.5, rel=0.15)
    assert after_4_h.std() == pytest.approx(1.0, rel=0.15)


def test_memory_is_the_same_over_a_second_at_any_rate() -> None:
    for step_s, per_second in ((1.0, 1), (0.2, 5)):
        noise = _streams(Sensor(sigma=1.0, memory=0.8), 1, step_s).at(range(60_000)).noise[:, 0]
        over_a_second = np.corrcoef(noise[:-per_second], noise[per_second:])[0, 1]
        assert over_a_second == pytest.approx(0.8, abs=0.03)
        assert noise.std() == pytest.approx(1.0, rel=0.06)


def test_memory_goes_on_over_the_edge_of_a_block() -> None:
    sensor = Sensor(sigma=1.0, memory=0.8)
    edge = [BLOCK_STEPS - 1, BLOCK_STEPS]
    pairs = np.array([_streams(sensor, seed).at(edge).noise[:, 0] for seed in range(400)])
    assert np.corrcoef(pairs[:, 0], pairs[:, 1])[0, 1] == pytest.approx(0.8, abs=0.06)


def test_what_is_not_asked_for_is_not_there() -> None:
    draw = _streams(Sensor()).at(range(10))
    assert not draw.noise.any() and not draw.drift.any() and not draw.late_ms.any()
    assert np.all(draw.chance == 1.0)
