"""A made-up line that runs evenly, one sample a second, until something is done to one of its signals.

It is known to run from its first second; what is usual is known after fifteen minutes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from historian.frame import Series
from rules.detector import Detector
from rules.finding import Finding
from rules.line import LineFacts, MeltFilter
from rules.seen.told import Told
from tests.rules.detectors.signals import T0_NS, Floats, Staged, every, seconds_of, series

DURATION_S = 2400
USUAL_S = 900
"""When everything that is usual is known."""

FACTS = LineFacts("test line", MeltFilter(plates=8, trigger_dp_bar=45.0), barrel_zones=3, planned_kg_h=780.0)

_STEADY: Mapping[str, tuple[float, float]] = {  # value, scatter
    "doser.rate.pv": (780.0, 6.0),
    "doser.screw.speed.pv": (57.0, 0.2),
    "extruder.screw.speed.pv": (95.0, 0.1),
    "extruder.drive.torque.pv": (64.0, 0.6),
    "extruder.melt.temp.pv": (222.0, 0.25),
    "extruder.vent.1.pressure.pv": (80.0, 1.5),
    "extruder.vent.1.temp.pv": (112.0, 0.1),
    "extruder.vent.pump.current.pv": (6.4, 0.1),
    "filter.outlet.pressure.pv": (60.6, 0.3),
    "filter.outlet.melt_temp.pv": (224.0, 0.25),
    "die.pressure.pv": (57.0, 0.3),
    "die.zone.1.temp.pv": (225.0, 0.1),
    "pelletizer.knife.speed.pv": (1607.0, 2.0),
    "pelletizer.knife.torque.pv": (42.0, 1.0),
    "pelletizer.knife.pressure.pv": (3.2, 0.01),
    "water.supply.temp.pv": (42.3, 0.05),
    "water.return.temp.pv": (46.8, 0.08),
    "water.cooler.valve.out": (44.0, 0.3),
    "water.flow.pv": (22.0, 0.1),
    "water.pressure.pv": (2.4, 0.01),
    "dryer.current.pv": (15.0, 0.1),
    "dryer.vibration.pv": (2.1, 0.05),
    **{f"extruder.zone.{n}.temp.pv": (200.0, 0.1) for n in (1, 2, 3)},
}
_SET: Mapping[str, float] = {
    "doser.rate.sp": 780.0,
    "doser.mode.state": 2.0,
    "doser.refill.state": 0.0,
    "extruder.screw.speed.sp": 95.0,
    "filter.wiper.state": 0.0,
    "die.zone.1.temp.sp": 225.0,
    "pelletizer.knife.speed.sp": 1607.0,
    "pelletizer.knife.pressure.sp": 3.2,
    "pelletizer.knife.hours.total": 40.0,
    "pelletizer.water.state": 1.0,
    "water.supply.temp.sp": 42.0,
    "water.flow.sp": 22.0,
    **{f"extruder.zone.{n}.temp.sp": 200.0 for n in (1, 2, 3)},
}


class EvenLine:
    """The line; ``value`` holds every signal, shape (duration,), to be changed before ``made``.

    Args:
        wipes: a cleaning of 20 s every 240 s, with the saw-tooth that it makes.
    """

    def __init__(self, duration_s: int = DURATION_S, seed: int = 1, *, wipes: bool = True) -> None:
        self.time_s = np.arange(duration_s, dtype=np.float64)
        chance = np.random.default_rng(seed)
        self.value: dict[str, Floats] = {
            path: value + scatter * chance.standard_normal(duration_s)
            for path, (value, scatter) in _STEADY.items()
        }
        self.value |= {path: np.full(duration_s, value) for path, value in _SET.items()}
        phase = self.time_s % 240
        if wipes:
            self.value["filter.wiper.state"] = (phase >= 220).astype(np.float64)
        share = np.where(phase < 220, phase / 220, (240 - phase) / 20) if wipes else 0.5
        dp = 24 + 21 * share + 0.3 * chance.standard_normal(duration_s)
        self.value["filter.inlet.pressure.pv"] = self.value["filter.outlet.pressure.pv"] + dp
        self.value["filter.dp.calc"] = dp
        loss = 5.4 + 0.2 * chance.standard_normal(duration_s)
        self.value["extruder.head.pressure.pv"] = self.value["filter.inlet.pressure.pv"] + loss
        self.value["doser.weight.pv"] = 250 - self.time_s * 780 / 3600 % 180

    def scale(self, path: str, factor: float, from_s: int, until_s: int | None = None) -> None:
        """Multiply a signal for a while."""
        self.value[path][from_s:until_s] *= factor

    def shift(self, path: str, by: float, from_s: int, until_s: int | None = None) -> None:
        """Add to a signal for a while."""
        self.value[path][from_s:until_s] += by

    def pressures(self, factor: float | Floats, from_s: int, until_s: int | None = None) -> None:
        """Scale the melt's pressures together, as another melt does."""
        for path in ("die.pressure.pv", "filter.outlet.pressure.pv", "filter.dp.calc"):
            self.value[path][from_s:until_s] *= factor
        part = slice(from_s, until_s)
        loss = self.value["extruder.head.pressure.pv"] - self.value["filter.inlet.pressure.pv"]
        loss[part] *= factor
        inlet = self.value["filter.outlet.pressure.pv"] + self.value["filter.dp.calc"]
        self.value["filter.inlet.pressure.pv"] = inlet
        self.value["extruder.head.pressure.pv"] = inlet + loss

    def made(self, without: Sequence[str] = ()) -> dict[str, Series]:
        """The signals by path."""
        return {p: series(self.time_s, v) for p, v in self.value.items() if p not in without}


def judged(
    rule: Callable[..., Detector],
    line: EvenLine,
    facts: LineFacts = FACTS,
    without: Sequence[str] = (),
    told: Sequence[tuple[float, str, float]] = (),
    block_s: float = 60.0,
) -> list[Finding]:
    """What a rule finds on a line.

    Args:
        told: second, what, value: what people tell meanwhile.
    """
    signals = line.made(without)
    staged = Staged.of(rule, facts, signals)
    waiting = [Told(T0_NS + int(s * 1e9), what, value) for s, what, value in sorted(told)]
    found: list[Finding] = []
    for block in every(signals, block_s):
        while waiting and waiting[0].time_ns <= block.arrival_ns:
            staged.stage.tell(waiting.pop(0))
        found.extend(f for f in staged.update(block) if isinstance(f, Finding))
        found.extend(f for f in staged.advance(block.arrival_ns) if isinstance(f, Finding))
    return found


def begun_s(found: Sequence[Finding]) -> float:
    """When the first finding began, seconds of the test."""
    return seconds_of(found[0].time_ns)
