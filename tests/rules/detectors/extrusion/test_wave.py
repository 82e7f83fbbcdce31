"""The strongest wave against sums written out by hand, and against numpy's transform."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lombscargle

from rules.detectors.extrusion.wave import WINDOW_S, WaveFollower


def followed(value: np.ndarray, wiping: np.ndarray | None = None) -> WaveFollower:
    follower = WaveFollower()
    still = np.zeros(len(value), dtype=bool) if wiping is None else wiping
    for n in range(0, len(value), 10):
        follower.push((n + 9) * 10**9, value[n : n + 10], still[n : n + 10])
    return follower


def test_a_pure_wave_is_all_of_the_unrest():
    t = np.arange(WINDOW_S)
    wave = followed(50 + np.sin(2 * np.pi * t / 20)).wave()
    assert wave is not None
    assert wave.share == pytest.approx(1.0, abs=0.03)
    assert wave.period_s == pytest.approx(20.0, rel=0.03)
    assert wave.unrest_percent == pytest.approx(100 / np.sqrt(2) / 50, rel=0.03)


def test_a_whole_number_of_waves_agrees_with_the_discrete_fourier_transform():
    """Source: Parseval's theorem, power of a bin over the sum of all; numpy.fft as the outside computation."""
    chance = np.random.default_rng(3)
    t = np.arange(WINDOW_S)
    value = 50 + np.sin(2 * np.pi * t * 9 / WINDOW_S) + chance.standard_normal(WINDOW_S)
    wave = followed(value).wave()
    bent = value - np.polyval(np.polyfit(t, value, 2), t)
    power = np.abs(np.fft.rfft(bent)) ** 2
    assert wave is not None
    assert wave.share == pytest.approx(power[9] / power[1:].sum(), abs=0.05)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_white_noise_has_no_strong_wave(seed: int):
    value = 50 + np.random.default_rng(seed).standard_normal(WINDOW_S)
    wave = followed(value).wave()
    assert wave is not None and wave.share < 0.25


def test_cleanings_are_cut_out():
    t = np.arange(WINDOW_S)
    value = 50 + np.sin(2 * np.pi * t / 20)
    wiping = (t >= 60) & (t < 80)
    spoilt = np.where(wiping, 20.0, value)
    wave = followed(spoilt, wiping).wave()
    assert wave is not None
    assert wave.share > 0.9 and wave.period_s == pytest.approx(20.0, rel=0.05)


def test_too_little_is_no_wave():
    assert WaveFollower().wave() is None
    assert followed(np.full(WINDOW_S, 50.0)).wave() is None
    assert followed(50 + np.random.default_rng(1).standard_normal(40)).wave() is None


def test_a_pause_begins_anew():
    follower = followed(50 + np.sin(np.arange(WINDOW_S)))
    follower.push(10**13, np.full(10, 50.0), np.zeros(10, dtype=bool))
    assert follower.wave() is None


def test_agrees_with_another_computation_where_cleanings_leave_holes():
    """Source: scipy.signal.lombscargle, the periodogram of unevenly kept samples, scaled to shares."""
    t = np.arange(WINDOW_S)
    chance = np.random.default_rng(11)
    value = 50 + np.sin(2 * np.pi * t / 24) + 0.7 * chance.standard_normal(WINDOW_S)
    wiping = (t >= 70) & (t < 80)
    follower = followed(value, wiping)
    wave = follower.wave()
    kept = ~np.isnan(np.asarray([np.nan if v is None else v for v in follower.save()["kept"]], dtype=float))
    rest = np.zeros(WINDOW_S)
    for part in (t < 75, t >= 75):
        at = np.flatnonzero(kept & part)
        rest[at] = value[at] - np.polyval(np.polyfit(t[at], value[at], 2), t[at])
    per_s = np.arange(1 / 60, 1 / 8, 0.5 / WINDOW_S)
    power = lombscargle(t[kept].astype(float), rest[kept], 2 * np.pi * per_s)
    share = 2 * power / np.sum(rest[kept] ** 2)
    assert wave is not None
    assert wave.share == pytest.approx(share.max(), abs=0.05)
    assert wave.period_s == pytest.approx(1 / per_s[share.argmax()], rel=0.05)


def test_a_wiper_that_never_stops_cuts_nothing_out():
    t = np.arange(3 * WINDOW_S)
    wave = followed(50 + np.sin(2 * np.pi * t / 24), np.ones(len(t), dtype=bool)).wave()
    assert wave is not None and wave.share > 0.9


def test_its_state_is_whole():
    t = np.arange(WINDOW_S)
    value = 50 + np.sin(2 * np.pi * t / 24)
    half = followed(value[:90], (t[:90] > 80))
    other = WaveFollower()
    other.restore(json.loads(json.dumps(half.save())))
    for follower in (half, other):
        for n in range(90, WINDOW_S, 10):
            follower.push((n + 9) * 10**9, value[n : n + 10], np.zeros(10, dtype=bool))
    assert half.wave() == other.wave() and half.wave() is not None
