"""Rises of a filter's pressure after a known law, as uneven and as noisy as on a line."""

from __future__ import annotations

from math import exp, sqrt

import numpy as np
from scipy.optimize import brentq

from process.blocking import Law, growth
from process.blocking_fit import Rise

SECONDS, CLEAN_BAR, TIMES = 200, 24.0, 1.9


def uneven(rng: np.random.Generator, sigma: float, tau_s: float) -> np.ndarray:
    """One and what wanders about it, once a second: standard deviation, and how long it holds together."""
    keep = exp(-1 / tau_s)
    steps = rng.standard_normal(SECONDS) * sigma * sqrt(1 - keep * keep)
    steps[0] = rng.standard_normal() * sigma
    wander = np.empty(SECONDS)
    now = 0.0
    for i, step in enumerate(steps.tolist()):
        now = keep * now + step
        wander[i] = now
    return 1 + wander


def noisy_rises(
    law: Law,
    exponent: float,
    seed: int,
    *,
    cycles: int = 10,
    gauge_bar: float = 0.3,
    bale: float = 0.15,
    dirt: float = 0.10,
    feed: float = 0.01,
) -> list[Rise]:
    """Rises from 24 bar to about 45 bar.

    Args:
        gauge_bar: noise of the pressure difference, from second to second.
        bale: scatter of the dirt from cycle to cycle; dirt: within one, over a minute; feed: of the flow,
            over half a minute, which moves the pressure too. As shares. common practice, no source: all.
    """
    rng = np.random.default_rng(seed)
    full = brentq(lambda s: growth(law, s, exponent) - TIMES, 1e-6, 0.999 if law is Law.COMPLETE else 1.9)
    most = {Law.COMPLETE: 0.95, Law.STANDARD: 1.85}.get(law, np.inf)
    rises = []
    for _ in range(cycles):
        flow = uneven(rng, feed, 30)
        settling = max(1 + bale * rng.standard_normal(), 0.4) * uneven(rng, dirt, 60) * flow
        closed = np.minimum(np.cumsum(settling) / SECONDS * full, min(1.3 * full, most))
        times = np.array([growth(law, s, exponent) for s in closed.tolist()])
        dp = CLEAN_BAR * times * flow**exponent + gauge_bar * rng.standard_normal(SECONDS)
        rises.append(Rise(np.cumsum(flow), dp))
    return rises
