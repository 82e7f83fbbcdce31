"""Samples of several tags with bad, uncertain and missing ones, for tests of what is made from them."""

from __future__ import annotations

import numpy as np

from historian.frame import Frame
from historian.quality import LAST_USABLE, NO_DATA, SENSOR_FAILURE


def scattered(n: int, seed: int, *, span_ns: int = 8192, tags: int = 3, bad: float = 0.2) -> Frame:
    """Samples at random times, in few distinct values so that extremes tie, sorted by tag and time."""
    chance = np.random.default_rng(seed)
    codes = chance.choice(
        [0, LAST_USABLE, NO_DATA, SENSOR_FAILURE], size=n, p=[1 - bad, bad / 4, bad / 2, bad / 4]
    )
    value = np.round(chance.normal(size=n), 1)
    value[(codes == NO_DATA) | (chance.random(n) < bad / 10)] = np.nan
    frame = Frame.of(
        chance.integers(1, tags + 1, n), chance.integers(-span_ns, span_ns, n), value, codes, arrival_ns=0
    )
    return frame
