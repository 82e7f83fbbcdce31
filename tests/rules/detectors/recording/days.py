"""Days with something for every rule of sources and clocks."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from historian.frame import Series
from rules.line import LineFacts
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.sensing.days import INLET, made, running
from tests.rules.detectors.signals import series


def with_holes(
    share: float = 0.5, at_s: int = 900, until_s: int = 1500, duration_s: int = 2000
) -> dict[str, Series]:
    """One signal that loses a share of its samples for a while."""
    signals = made(running(duration_s))
    second = np.arange(duration_s)
    lost = (second >= at_s) & (second < until_s) & (np.random.default_rng(3).random(duration_s) < share)
    kept = signals[INLET]
    return {**signals, INLET: series(second[~lost], kept.value[~lost])}


DAYS: Mapping[str, Callable[[], tuple[LineFacts, Mapping[str, Series]]]] = {
    "samples-missing": lambda: (FACTS, with_holes()),
}
