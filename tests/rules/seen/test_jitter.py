"""Jitter sees jumps from second to second and hardly a slow wave."""

from __future__ import annotations

from math import isnan

import numpy as np
import pytest

from rules.seen.jitter import Jitter


def stepped(value: np.ndarray) -> float:
    jitter = Jitter(6)
    for n in range(0, 60, 10):
        jitter.push(value[n : n + 10])
    return jitter.step


def test_white_noise_steps_by_the_root_of_two_of_its_deviation():
    """Source: variance of a difference of independent values, 2 sigma^2."""
    noise = np.random.default_rng(1).standard_normal((300, 60))
    assert np.mean([stepped(n) ** 2 for n in noise]) == pytest.approx(2.0, rel=0.03)


def test_a_wave_of_24_s_steps_by_a_quarter_of_its_deviation():
    """Derived: a sine of angular frequency w steps by 2 sin(w/2) of its deviation."""
    wave = np.sin(2 * np.pi * np.arange(60) / 24)
    assert stepped(wave) == pytest.approx(2 * np.sin(np.pi / 24) / np.sqrt(2), rel=0.05)


def test_nothing_before_its_time_is_full_and_nothing_of_unknown_seconds():
    jitter = Jitter(2)
    jitter.push(np.arange(10.0))
    assert isnan(jitter.step) and isnan(jitter.mean)
    jitter.push(np.full(10, np.nan))
    assert jitter.step == 1.0 and jitter.mean == 4.5
