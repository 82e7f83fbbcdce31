"""The noise of a signal round the time when its alarm came, and the dead band that would ride it out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

import numpy as np

from historian.frame import NS, Series
from historian.quality import is_good
from process.statistics import median_and_sigma, theil_sen

AROUND_NS: Final = 30 * NS
"""Samples from so long before an activation until so long after it are looked at."""
MOST_ACTIVATIONS: Final = 20
_LEAST_SAMPLES: Final = 10
_MOST_SAMPLES: Final = 60
_SIGMAS: Final = 3.0
"""A dead band of three standard deviations: derived here. A signal that stands on its limit falls that far
below it by noise once in about 700 samples."""


@dataclass(frozen=True, slots=True)
class Noise:
    """A signal's noise near activations.

    Attributes:
        sigma: robust standard deviation (1.4826 times the median absolute deviation from a robust line
            through each stretch), in the tag's unit.
        samples, activations: how many it rests on.
    """

    sigma: float
    samples: int
    activations: int


def noise_near(series: Series, activations_ns: Sequence[int]) -> Noise | None:
    """The noise of good samples near the newest activations; None where there are too few.

    Args:
        series: of one tag, sorted by time.
        activations_ns: rising.
    """
    good = is_good(series.quality) & ~np.isnan(series.value)
    times, values = series.time_ns[good], series.value[good]
    rests: list[np.ndarray] = []
    for at_ns in activations_ns[-MOST_ACTIVATIONS:]:
        a, b = np.searchsorted(times, [at_ns - AROUND_NS, at_ns + AROUND_NS])
        if b - a < _LEAST_SAMPLES:
            continue
        step = -(-int(b - a) // _MOST_SAMPLES)
        x, y = (times[a:b:step] - at_ns) / NS, values[a:b:step]
        slope = theil_sen(x, y).value
        level = y - (0.0 if np.isnan(slope) else slope) * x
        rests.append(level - np.median(level))
    if not rests:
        return None
    every = np.concatenate(rests)
    return Noise(median_and_sigma(every)[1], len(every), len(rests))


def dead_band(noises: Mapping[str, Noise]) -> float | None:
    """The dead band that rides the noise out, rounded up to two digits; None without noise.

    Several signals are taken together as if they were independent.

    Example:
        >>> dead_band({"a": Noise(0.3, 60, 1), "b": Noise(0.4, 60, 1)})
        1.5
    """
    sigma = hypot(*(n.sigma for n in noises.values())) if noises else 0.0
    return _rounded_up(_SIGMAS * sigma) if sigma > 0 else None


def _rounded_up(value: float) -> float:
    size = 10.0 ** (np.floor(np.log10(value)) - 1)
    return float(f"{np.ceil(round(value / size, 6)) * size:.2g}")
