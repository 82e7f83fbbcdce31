"""A day for every rule of this part on which it has something to say."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from historian.frame import Series
from rules.line import LineFacts
from tests.rules.detectors.extrusion.made import FACTS, EvenLine

AT_S = 1500


def starved() -> EvenLine:
    """Forty percent of the feed is missing for six minutes, and the torque follows."""
    line = EvenLine()
    line.scale("doser.rate.pv", 0.6, AT_S, AT_S + 360)
    line.scale("extruder.drive.torque.pv", 0.7, AT_S + 20, AT_S + 380)
    line.pressures(0.85, AT_S + 60, AT_S + 420)
    return line


def unweighed() -> EvenLine:
    """The doser feeds by its speed for ten minutes."""
    line = EvenLine()
    line.value["doser.mode.state"][AT_S : AT_S + 600] = 3.0
    return line


def surging(percent: float = 2.0, period_s: float = 24.0) -> EvenLine:
    """The pressures swing for ten minutes."""
    line = EvenLine()
    wave = percent / 100 * np.sin(2 * np.pi * line.time_s / period_s)
    part = slice(AT_S, AT_S + 600)
    line.pressures(1 + wave[part], AT_S, AT_S + 600)
    return line


def foaming() -> EvenLine:
    """The pressures behind the filter fall and jump for ten minutes; the vent gets more to do."""
    line = EvenLine()
    chance = np.random.default_rng(7)
    for path in ("die.pressure.pv", "filter.outlet.pressure.pv"):
        line.value[path][AT_S : AT_S + 600] += -4.0 + 1.2 * chance.standard_normal(600)
    line.shift("extruder.vent.1.pressure.pv", 60.0, AT_S, AT_S + 600)
    return line


def vented() -> EvenLine:
    """The vent stands at 300 mbar for six minutes."""
    line = EvenLine()
    line.shift("extruder.vent.1.pressure.pv", 220.0, AT_S, AT_S + 360)
    return line


def cold_start() -> EvenLine:
    """The screw starts while the second zone is 40 K too cold; it is warm four minutes later."""
    line = EvenLine()
    line.value["extruder.screw.speed.pv"][:300] = 0.0
    line.value["extruder.zone.2.temp.pv"][:540] -= 40.0
    return line


def overloaded() -> EvenLine:
    """The drive gives 97 % for a minute."""
    line = EvenLine()
    line.shift("extruder.drive.torque.pv", 33.0, AT_S, AT_S + 60)
    return line


def residue() -> EvenLine:
    """Stiffer melt comes all at once and is washed out within minutes."""
    line = EvenLine()
    since = line.time_s[AT_S:] - AT_S
    line.pressures(1 + 0.3 * (1 - np.exp(-since / 15)) * np.exp(-since / 90), AT_S)
    return line


def day(line: Callable[[], EvenLine]) -> Callable[[], tuple[LineFacts, Mapping[str, Series]]]:
    """The line's signals, with its facts."""
    return lambda: (FACTS, line().made())


DAYS: Mapping[str, Callable[[], tuple[LineFacts, Mapping[str, Series]]]] = {
    "feed-starved": day(starved),
    "doser-unweighed": day(unweighed),
    "surging": day(surging),
    "foaming": day(foaming),
    "vent-vacuum": day(vented),
    "extruder-cold": day(cold_start),
    "drive-overload": day(overloaded),
    "material-residue": day(residue),
}
