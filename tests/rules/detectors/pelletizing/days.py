"""A day for every rule of this part on which it has something to say."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from historian.frame import Series
from rules.line import LineFacts
from tests.rules.detectors.extrusion.days import AT_S, day
from tests.rules.detectors.extrusion.made import EvenLine


def frozen(share: float = 0.3) -> EvenLine:
    """Holes of the die freeze within minutes and thaw again; the melt is as it was."""
    line = EvenLine()
    since = line.time_s[AT_S : AT_S + 600] - AT_S
    rise = 57.0 * ((1 - share * (1 - np.exp(-since / 90))) ** -0.42 - 1)
    for path in (
        "die.pressure.pv",
        "filter.outlet.pressure.pv",
        "filter.inlet.pressure.pv",
        "extruder.head.pressure.pv",
    ):
        line.value[path][AT_S : AT_S + 600] += rise
    return line


def drooling() -> EvenLine:
    """The torque of the knives jumps three times as much for ten minutes."""
    line = EvenLine()
    torque = line.value["pelletizer.knife.torque.pv"]
    torque[AT_S : AT_S + 600] = 42.0 + 3.0 * (torque[AT_S : AT_S + 600] - 42.0)
    return line


def worn() -> EvenLine:
    """The knives need thirty percent more torque from one moment to the next, until they are changed."""
    line = EvenLine(2700)
    line.scale("pelletizer.knife.torque.pv", 1.3, 1700)
    return line


def unpressed() -> EvenLine:
    """The contact pressure leaks away within a minute, and is back five minutes later."""
    line = EvenLine()
    since = line.time_s[AT_S : AT_S + 300] - AT_S
    line.value["pelletizer.knife.pressure.pv"][AT_S : AT_S + 300] *= np.exp(-since / 40)
    return line


def too_fast() -> EvenLine:
    """The knives turn a quarter faster than set for ten minutes."""
    line = EvenLine()
    line.scale("pelletizer.knife.speed.pv", 1.25, AT_S, AT_S + 600)
    return line


def warm_water() -> EvenLine:
    """The cooler fouls: the valve opens ever more and the water warms all the same."""
    line = EvenLine()
    since = (line.time_s[AT_S:] - AT_S) / 60
    line.value["water.supply.temp.pv"][AT_S:] += 2.8 * (1 - np.exp(-since / 7))
    line.value["water.cooler.valve.out"][AT_S:] += np.minimum(45.0, 3.8 * since)
    return line


def little_water() -> EvenLine:
    """The strainer clogs for two minutes: less flow, more pressure before it."""
    line = EvenLine()
    line.scale("water.flow.pv", 0.55, AT_S, AT_S + 120)
    line.scale("water.pressure.pv", 1.3, AT_S, AT_S + 120)
    return line


def jammed() -> EvenLine:
    """The dryer labours, then jams and trips."""
    line = EvenLine()
    line.scale("dryer.current.pv", 1.18, AT_S, AT_S + 120)
    line.scale("dryer.current.pv", 1.5, AT_S + 120, AT_S + 150)
    line.value["dryer.current.pv"][AT_S + 150 : AT_S + 400] = 0.0
    return line


DAYS: Mapping[str, Callable[[], tuple[LineFacts, Mapping[str, Series]]]] = {
    "die-frozen": day(frozen),
    "die-drool": day(drooling),
    "knife-worn": day(worn),
    "knife-pressure": day(unpressed),
    "pellet-length": day(too_fast),
    "water-temperature": day(warm_water),
    "water-flow": day(little_water),
    "dryer-overload": day(jammed),
}
