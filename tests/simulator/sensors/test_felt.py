from __future__ import annotations

from math import exp

import pytest

from simulator.machines.upsets import Upsets
from simulator.sensors.felt import Felt

PATH = "filter.inlet.pressure.pv"


def test_a_sound_sensor_is_felt_as_it_is() -> None:
    felt = Felt(PATH)
    assert [felt.feel(x, Upsets(), 1.0) for x in (80.0, 81.5)] == [80.0, 81.5]


def test_a_zero_that_is_off_misleads_the_control() -> None:
    felt, upsets = Felt(PATH), Upsets()
    upsets.sensor(PATH).offset = 3.4
    upsets.sensor(PATH).gain = 1.1
    assert felt.feel(80.0, upsets, 1.0) == pytest.approx(91.4)


def test_a_frozen_sensor_holds_and_comes_back() -> None:
    felt, upsets = Felt(PATH), Upsets()
    felt.feel(80.0, upsets, 1.0)
    upsets.sensor(PATH).frozen = True
    assert [felt.feel(x, upsets, 1.0) for x in (85.0, 120.0)] == [80.0, 80.0]
    upsets.sensor(PATH).frozen = False
    assert felt.feel(120.0, upsets, 1.0) == 120.0


def test_a_dead_sensor_stands_at_the_low_end_of_its_range() -> None:
    felt, upsets = Felt(PATH), Upsets()
    upsets.sensor(PATH).dead = True
    assert felt.feel(80.0, upsets, 1.0) == -10.0


@pytest.mark.parametrize("dt_s", [1.0, 0.2])
def test_a_slow_sensor_follows_with_its_lag(dt_s: float) -> None:
    felt, upsets = Felt(PATH), Upsets()
    felt.feel(50.0, upsets, dt_s)
    upsets.sensor(PATH).lag_s = 60.0
    for _ in range(round(60.0 / dt_s)):
        felt.feel(90.0, upsets, dt_s)
    assert felt.value == pytest.approx(90.0 - 40.0 * exp(-1.0))
