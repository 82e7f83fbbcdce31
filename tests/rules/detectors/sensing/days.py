"""Days with something for every rule of sensors."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from historian.frame import Series
from historian.quality import SENSOR_FAILURE
from rules.line import LineFacts
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import Floats, series

INLET, OUTLET, DIE = "filter.inlet.pressure.pv", "filter.outlet.pressure.pv", "die.pressure.pv"
MELT, FLOW = "extruder.melt.temp.pv", "water.flow.pv"
LEVELS = {INLET: 95.0, OUTLET: 62.0, DIE: 57.0, MELT: 221.0, FLOW: 22.0}


def running(duration_s: int, seed: int = 5) -> dict[str, Floats]:
    """Values of a line that runs with a little scatter, one a second."""
    chance = np.random.default_rng(seed)
    return {p: level * (1 + 0.004 * chance.standard_normal(duration_s)) for p, level in LEVELS.items()}


def made(values: Mapping[str, Floats], quality: Mapping[str, Floats] | None = None) -> dict[str, Series]:
    """The signals, with feed and screw that run throughout unless they are given."""
    seconds = np.arange(len(values[INLET]))
    always = {"doser.rate.pv": 640.0, "extruder.screw.speed.pv": 82.0}
    given = {p: series(seconds, v, (quality or {}).get(p, 0)) for p, v in values.items()}
    return {**{p: series(seconds, v) for p, v in always.items()}, **given}


def frozen(
    path: str = DIE, at_s: int = 1200, until_s: int = 2000, duration_s: int = 2400
) -> dict[str, Series]:
    """A reading that holds its last value."""
    values = running(duration_s)
    values[path][at_s:until_s] = values[path][at_s - 1]
    return made(values)


def failed(at_s: int = 600, until_s: int = 700, duration_s: int = 1200) -> dict[str, Series]:
    """A transducer whose samples are bad for a while."""
    quality = np.zeros(duration_s, dtype=np.uint32)
    quality[at_s:until_s] = SENSOR_FAILURE
    return made(running(duration_s), {DIE: quality})


def reversed_loss(by_bar: float = 3.0, at_s: int = 900, until_s: int = 1800) -> dict[str, Series]:
    """The pressure before the die reads more than the one behind the screen."""
    values = running(2600)
    values[DIE][at_s:until_s] += values[OUTLET][at_s:until_s].mean() - LEVELS[DIE] + by_bar
    return made(values)


DAYS: Mapping[str, Callable[[], tuple[LineFacts, Mapping[str, Series]]]] = {
    "sensor-frozen": lambda: (FACTS, frozen()),
    "sensor-failed": lambda: (FACTS, failed()),
    "sensor-drift": lambda: (FACTS, reversed_loss()),
}
