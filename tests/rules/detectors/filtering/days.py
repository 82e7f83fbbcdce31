"""Days with something for every rule of the melt filter: a saw-tooth, cleaning by cleaning."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from historian.frame import Series
from rules.line import LineFacts
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import Floats, series

WIPE_S = 22
CLEAN_BAR, TRIGGER_BAR, DIE_BAR = 24.0, 45.0, 57.0
RUN_UP_S = 700  # melt runs so long before the first cleaning: rules judge after ten minutes


@dataclass(frozen=True, slots=True)
class Tooth:
    """One cleaning: how long after the one before it begins, what it leaves, and what wiper and outlet show."""

    period_s: int = 120
    trough_bar: float = CLEAN_BAR
    peak_bar: float = TRIGGER_BAR
    torque_percent: float = 40.0
    discharged_kg: float = 0.7
    die_bar: float = DIE_BAR


USUAL = Tooth()
DIRTY = Tooth(period_s=60)
WORN = Tooth(period_s=70, trough_bar=36.0)
BLOCKED = Tooth(period_s=60, trough_bar=34.0, torque_percent=50.0, discharged_kg=0.0)
SLIPPING = Tooth(period_s=60, trough_bar=44.0, torque_percent=10.0, discharged_kg=0.2)
THIN = Tooth(period_s=150, trough_bar=20.0, die_bar=47.0)


def saw(teeth: Sequence[Tooth], rest_s: int = 120, seed: int = 3) -> dict[str, Floats]:
    """The filter's signals, one value a second, with a little scatter."""
    duration_s = RUN_UP_S + sum(t.period_s for t in teeth) + rest_s
    chance = np.random.default_rng(seed)
    dp = np.full(duration_s, CLEAN_BAR)
    die = np.full(duration_s, DIE_BAR)
    wiper, torque = np.zeros(duration_s), np.zeros(duration_s)
    angle = np.zeros(duration_s)
    weight = np.zeros(duration_s)
    at, level, before = RUN_UP_S, CLEAN_BAR, 0
    for tooth in teeth:
        start = at
        at = start + tooth.period_s
        dp[before:start] = np.linspace(level, tooth.peak_bar, start - before)
        end = start + WIPE_S
        dp[start:end] = np.linspace(tooth.peak_bar, tooth.trough_bar, WIPE_S)
        wiper[start:end], torque[start:end] = 1.0, tooth.torque_percent
        angle[start:end] = np.linspace(0, 720, WIPE_S, endpoint=False) % 360
        weight[start + 5 :] += tooth.discharged_kg
        die[start:] = tooth.die_bar
        before, level = end, tooth.trough_bar
    dp[before:] = np.linspace(level, level + 5, duration_s - before)
    return {
        "filter.dp.calc": dp + 0.1 * chance.standard_normal(duration_s),
        "die.pressure.pv": die + 0.2 * chance.standard_normal(duration_s),
        "filter.wiper.state": wiper,
        "filter.wiper.torque.pv": torque + 0.5 * chance.standard_normal(duration_s) * wiper,
        "filter.wiper.angle.pv": angle,
        "filter.wiper.park.state": (wiper == 0).astype(float),
        "filter.discharge.weight.total": weight,
        "extruder.head.pressure.pv": dp + die + 8.0,
    }


def made(values: Mapping[str, Floats]) -> dict[str, Series]:
    """The signals of a line that runs throughout."""
    seconds = np.arange(len(values["filter.dp.calc"]))
    always = {"doser.rate.pv": 780.0, "doser.rate.sp": 780.0, "extruder.screw.speed.pv": 95.0}
    return {
        **{p: series(seconds, v) for p, v in always.items()},
        **{p: series(seconds, v) for p, v in values.items()},
    }


def cleanings(*teeth: Tooth, usual: int = 8) -> dict[str, Series]:
    """Some usual cleanings, then these."""
    return made(saw([USUAL] * usual + list(teeth)))


def stalled(at_s: int = 1500, for_s: int = 30) -> dict[str, Series]:
    """The wiper is driven and held."""
    values = saw([USUAL] * 12)
    part = slice(at_s, at_s + for_s)
    values["filter.wiper.state"][part], values["filter.wiper.torque.pv"][part] = 1.0, 100.0
    values["filter.wiper.angle.pv"][part] = 40.0
    return made(values)


def not_parked(at_s: int = 1430, until_s: int = 1530, off_deg: float = 25.0) -> dict[str, Series]:
    """The wiper rests beside its park, and its sensor does not see it."""
    values = saw([replace(USUAL, period_s=300)] * 4)
    part = slice(at_s, until_s)
    values["filter.wiper.angle.pv"][part] = off_deg
    values["filter.wiper.park.state"][part] = 0.0
    return made(values)


def torn(at_s: int = 1560, factor: float = 0.45) -> dict[str, Series]:
    """The screen's resistance is gone from one second to the next."""
    values = saw([replace(USUAL, period_s=300)] * 4, rest_s=400)
    values["filter.dp.calc"][at_s:] *= factor
    return made(values)


def pressed(at_s: int = 900, for_s: int = 60, bar: float = 190.0) -> dict[str, Series]:
    """The pressure before the filter is high for a while."""
    values = saw([USUAL] * 8)
    values["extruder.head.pressure.pv"][at_s : at_s + for_s] = bar
    return made(values)


def leaking(kg_s: float = 0.002) -> dict[str, Series]:
    """The outlet does not close between cleanings."""
    values = saw([replace(USUAL, period_s=240)] * 8)
    values["filter.discharge.weight.total"] += kg_s * np.arange(len(values["filter.dp.calc"]))
    return made(values)


DAYS: Mapping[str, Callable[[], tuple[LineFacts, Mapping[str, Series]]]] = {
    "dirt-step": lambda: (FACTS, cleanings(*[DIRTY] * 6, *[USUAL] * 4)),
    "cleaning-weak": lambda: (FACTS, cleanings(*[WORN] * 5)),
    "discharge-blocked": lambda: (FACTS, cleanings(*[BLOCKED] * 5)),
    "wiper-slipping": lambda: (FACTS, cleanings(*[SLIPPING] * 4)),
    "melt-changed": lambda: (FACTS, cleanings(*[THIN] * 4)),
    "wiper-stalled": lambda: (FACTS, stalled()),
    "wiper-park": lambda: (FACTS, not_parked()),
    "screen-torn": lambda: (FACTS, torn()),
    "pressure-high": lambda: (FACTS, pressed()),
    "discharge-loss": lambda: (FACTS, leaking()),
}
