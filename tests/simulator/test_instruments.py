"""Each error of a sensor by itself, and that a run in pieces shows the same as in one go."""

from __future__ import annotations

from itertools import pairwise
from math import exp

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from historian.quality import GOOD, RANGE_EXCEEDED, SENSOR_FAILURE
from simulator.instruments import Instruments, Shown
from simulator.machines.upsets import SensorUpset
from simulator.sensors import Sensor, Signal

UpsetRows = dict[int, list[tuple[int, SensorUpset]]]
PRESSURE = Sensor(sigma=0.3, drift_per_root_h=0.3, drift_bound=1.0, missing_share=0.02, jitter_s=0.08)
SIGNALS = [
    Signal("extruder.zone.1.temp.pv", lambda: 0.0, Sensor(sigma=0.12, lag_s=12.0, break_above=600.0)),
    Signal("filter.inlet.pressure.pv", lambda: 0.0, PRESSURE),
    Signal("filter.outlet.pressure.pv", lambda: 0.0, PRESSURE),
    Signal(
        "filter.dp.calc",
        lambda: 0.0,
        Sensor(jitter_s=0.08),
        ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv"),
    ),
    Signal("extruder.drive.torque.pv", lambda: 0.0, Sensor(sigma=0.6, memory=0.8)),
]
TEMP, INLET, OUTLET, DP, TORQUE = range(5)


def _readings(seconds: int) -> NDArray[np.float64]:
    t = np.arange(seconds)
    inlet, outlet = 90.0 + 8.0 * np.sin(t / 20.0), 60.0 + np.sin(t / 9.0)
    return np.stack([200.0 + 20.0 * np.sin(t / 50.0), inlet, outlet, inlet - outlet, 64.0 + 0.0 * t], axis=1)


def _take(
    readings: NDArray[np.float64],
    upsets: UpsetRows | None = None,
    cuts: tuple[int, ...] = (),
    *,
    scatter: bool = True,
    signals: list[Signal] = SIGNALS,
    seed: int = 1,
) -> Shown:
    instruments = Instruments(signals, seed=seed, scatter=scatter)
    edges = [0, *cuts, len(readings)]
    parts = []
    for a, b in pairwise(edges):
        rows = {
            k: [(row - a, upset) for row, upset in found if a <= row < b]
            for k, found in (upsets or {}).items()
        }
        parts.append(instruments.take(range(a, b), readings[a:b], {k: v for k, v in rows.items() if v}))
    return Shown(
        np.concatenate([p.value for p in parts]),
        np.concatenate([p.quality for p in parts]),
        np.concatenate([p.present for p in parts]),
        np.concatenate([p.late_ms for p in parts]),
    )


def _bytes(shown: Shown) -> bytes:
    return b"".join(a.tobytes() for a in (shown.value, shown.quality, shown.present, shown.late_ms))


UPSETS = st.fixed_dictionaries(
    {
        "offset": st.sampled_from([0.0, 3.4, -20.0]),
        "gain": st.sampled_from([1.0, 1.2]),
        "frozen": st.booleans(),
        "dead": st.sampled_from([False, False, True]),
        "lag_s": st.sampled_from([0.0, 5.0, 60.0]),
        "missing_share": st.sampled_from([0.0, 0.3]),
    }
).map(lambda parts: SensorUpset(**parts))


@given(
    cuts=st.sets(st.integers(1, 699), max_size=6).map(sorted).map(tuple),
    upset=UPSETS,
    column=st.integers(0, 4),
    first=st.integers(0, 600),
    length=st.integers(1, 200),
)
@settings(max_examples=40, deadline=None)
def test_any_cut_of_a_run_shows_the_same_bytes(
    cuts: tuple[int, ...], upset: SensorUpset, column: int, first: int, length: int
) -> None:
    upsets = {column: [(row, upset) for row in range(first, min(first + length, 700))]}
    readings = _readings(700)
    whole = _take(readings, upsets)
    assert _bytes(_take(readings, upsets, cuts)) == _bytes(whole)
    # What is not upset is as it would have been; the difference is made of both pressures.
    touched = {column, DP} if column in (INLET, OUTLET) else {column}
    others = [k for k in range(5) if k not in touched]
    sound = _take(readings)
    assert np.array_equal(whole.value[:, others], sound.value[:, others])
    assert np.array_equal(whole.late_ms, sound.late_ms)


def test_without_scatter_the_truth_is_shown_whenever_it_is() -> None:
    readings = _readings(300)
    shown = _take(readings, scatter=False)
    assert np.array_equal(shown.value[:, [TEMP, INLET, OUTLET, TORQUE]], readings[:, [0, 1, 2, 4]])
    assert np.array_equal(shown.value[:, DP], readings[:, INLET] - readings[:, OUTLET])
    assert shown.present.all() and not shown.late_ms.any() and not shown.quality.any()


def test_a_lag_follows_as_first_order() -> None:
    readings = np.full((61, 5), 100.0)
    readings[0] = 50.0
    signals = [Signal("a.b.temp.pv", lambda: 0.0, Sensor(lag_s=20.0, decimals=None))] * 5
    shown = _take(readings, signals=signals)
    assert shown.value[20, 0] == pytest.approx(100.0 - 50.0 * exp(-1.0))
    assert shown.value[60, 0] == pytest.approx(100.0 - 50.0 * exp(-3.0))


def test_a_broken_thermocouple_is_bad_and_shows_where_it_stands() -> None:
    readings = _readings(50)
    readings[20:, TEMP] = 1200.0
    signals = [
        Signal(
            f"extruder.zone.{n}.temp.pv", lambda: 0.0, Sensor(sigma=0.12, break_above=600.0, tells_break=t)
        )
        for n, t in ((1, True), (2, False))
    ]
    shown = _take(readings[:, [TEMP, TEMP]], signals=signals)
    assert np.all(shown.value[20:] == 1200.0)
    assert np.all(shown.quality[20:, 0] == SENSOR_FAILURE) and np.all(shown.quality[20:, 1] == GOOD)
    assert np.all(shown.quality[:20] == GOOD)


def test_beyond_the_range_a_value_stands_at_its_end_and_is_uncertain() -> None:
    readings = _readings(4)
    # A barrel thermocouple shows −20 to 450 Cel, a melt pressure −10 to 500 bar.
    readings[1, TEMP], readings[2, INLET], readings[3, INLET] = -160.0, 640.0, -9.9
    signals = [Signal(s.path, s.read, Sensor(sigma=0.3)) for s in SIGNALS[:2]]
    shown = _take(readings[:, :2], signals=signals)
    assert shown.value[1, TEMP] == -20.0 and shown.value[2, INLET] == 500.0
    assert shown.quality.tolist() == [[0, 0], [RANGE_EXCEEDED, 0], [0, RANGE_EXCEEDED], [0, 0]]
    assert shown.value[3, INLET] >= -10.0


def test_offset_and_gain_are_shown_exactly_without_scatter() -> None:
    readings = _readings(10)
    rows = [(row, SensorUpset(offset=3.4, gain=1.1)) for row in range(5, 10)]
    shown = _take(readings, {INLET: rows}, scatter=False)
    assert np.array_equal(shown.value[:5, INLET], readings[:5, INLET])
    assert shown.value[5:, INLET] == pytest.approx(1.1 * readings[5:, INLET] + 3.4)
    # The controller subtracts what it is shown.
    assert shown.value[5:, DP] == pytest.approx(shown.value[5:, INLET] - readings[5:, OUTLET])


@pytest.mark.parametrize("scatter", [True, False])
def test_frozen_shows_exactly_one_value_while_the_truth_moves(scatter: bool) -> None:
    readings = _readings(400)
    rows = [(row, SensorUpset(frozen=True)) for row in range(100, 400)]
    shown = _take(readings, {INLET: rows}, (150, 151, 300), scatter=scatter)
    assert set(shown.value[99:, INLET].tolist()) == {shown.value[99, INLET]}
    assert len(set(shown.value[:100, INLET].tolist())) > 20
    assert np.all(shown.quality[:, INLET] == GOOD)
    assert len(set(np.round(shown.value[100:, DP], 6).tolist())) > 10


def test_dead_is_bad_and_makes_the_difference_bad() -> None:
    rows = [(row, SensorUpset(dead=True)) for row in range(5, 8)]
    shown = _take(_readings(10), {OUTLET: rows})
    dead = [False] * 5 + [True] * 3 + [False] * 2
    for column in (OUTLET, DP):
        assert (shown.quality[:, column] == SENSOR_FAILURE).tolist() == dead
    assert not shown.quality[:, [TEMP, INLET, TORQUE]].any()
    assert np.isfinite(shown.value).all()


def test_a_slow_sensor_lags_from_the_value_it_had() -> None:
    readings = np.full((200, 5), 90.0)
    readings[100:] = 50.0
    rows = [(row, SensorUpset(lag_s=30.0)) for row in range(50, 200)]
    shown = _take(readings, {INLET: rows}, (99, 120), scatter=False)
    assert np.all(shown.value[:100, INLET] == 90.0)
    assert shown.value[129, INLET] == pytest.approx(50.0 + 40.0 * exp(-1.0))


@pytest.mark.parametrize(("own", "upset"), [(0.0005, 0.0), (0.02, 0.0), (0.0005, 0.5)])
def test_the_missing_share_is_near_its_parameter(own: float, upset: float) -> None:
    seconds = 60_000
    signals = [Signal("filter.inlet.pressure.pv", lambda: 0.0, Sensor(missing_share=own))]
    rows = [(row, SensorUpset(missing_share=upset)) for row in range(seconds)] if upset else []
    shown = _take(np.full((seconds, 1), 90.0), {0: rows}, signals=signals)
    expected = 1.0 - (1.0 - own) * (1.0 - upset)
    spread = (expected * (1.0 - expected) / seconds) ** 0.5
    assert 1.0 - shown.present.mean() == pytest.approx(expected, abs=4.0 * spread)


def test_unrest_makes_noise_larger_and_no_other() -> None:
    readings = np.full((4000, 5), 60.0)
    plain = Instruments(SIGNALS, seed=1, scatter=True).take(range(4000), readings)
    noisy = Instruments(SIGNALS, seed=1, scatter=True).take(
        range(4000), readings, None, {TORQUE: [2.6] * 4000}
    )
    assert noisy.value[:, TORQUE].std() == pytest.approx(2.6 * plain.value[:, TORQUE].std(), rel=0.02)
    assert np.array_equal(noisy.value[:, :TORQUE], plain.value[:, :TORQUE])


def test_a_sensor_that_is_read_every_other_second_is_there_every_other_second() -> None:
    signals = [
        Signal("a.b.temp.pv", lambda: 0.0, Sensor(every=2)),
        Signal("a.c.temp.pv", lambda: 0.0, Sensor()),
    ]
    shown = _take(np.zeros((6, 2)), signals=signals)
    assert shown.present.T.tolist() == [[True, False] * 3, [True] * 6]


def test_another_seed_shows_other_noise() -> None:
    readings = _readings(100)
    assert _bytes(_take(readings)) == _bytes(_take(readings))
    assert _bytes(_take(readings, seed=2)) != _bytes(_take(readings))
