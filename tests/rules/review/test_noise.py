"""The noise of a signal near activations, and the dead band made of it."""

from __future__ import annotations

import numpy as np
import pytest

from historian.frame import NS, Series
from historian.quality import GOOD, NO_DATA
from rules.review.noise import Noise, dead_band, noise_near
from tests.rules.review.told import at


def ramp(sigma: float, slope: float, *, wild: bool = False) -> Series:
    rng = np.random.default_rng(7)
    seconds = np.arange(0, 3600)
    value = 40 + slope * seconds + rng.normal(0, sigma, len(seconds))
    if wild:
        value[::20] += 500
    return Series.of(at(0) + seconds * NS, value, GOOD)


@pytest.mark.parametrize("slope", [0.0, 0.4])
@pytest.mark.parametrize("wild", [False, True])
def test_the_noise_of_a_made_up_signal_is_found_whatever_its_slope(slope: float, wild: bool) -> None:
    activations = [at(120 * n) for n in range(1, 21)]
    found = noise_near(ramp(0.8, slope, wild=wild), activations)
    assert found is not None and found.activations == 20
    assert found.sigma == pytest.approx(0.8, rel=0.15)


def test_bad_samples_and_too_few_tell_nothing() -> None:
    whole = ramp(0.8, 0)
    bad = Series.of(whole.time_ns, whole.value, NO_DATA)
    assert noise_near(bad, [at(60)]) is None
    assert noise_near(whole, [at(-40)]) is None
    assert noise_near(Series.empty(), []) is None


def test_only_the_newest_activations_count() -> None:
    found = noise_near(ramp(0.8, 0), [at(10 * n) for n in range(10, 300)])
    assert found is not None and found.activations == 20


@pytest.mark.parametrize(
    ("sigmas", "band"),
    [((0.3,), 0.9), ((0.3, 0.4), 1.5), ((1.0 / 3,), 1.0), ((0.41,), 1.3), ((12.34,), 38.0)],
)
def test_a_dead_band_is_three_sigma_rounded_up(sigmas: tuple[float, ...], band: float) -> None:
    noises = {str(n): Noise(s, 60, 1) for n, s in enumerate(sigmas)}
    assert dead_band(noises) == pytest.approx(band)


def test_a_signal_that_does_not_move_needs_none() -> None:
    assert dead_band({}) is None
    assert dead_band({"a": Noise(0.0, 60, 1)}) is None
