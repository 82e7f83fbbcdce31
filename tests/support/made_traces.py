"""Small made-up traces of an operating point, exact so that figures can be worked out by hand."""

from __future__ import annotations

import numpy as np

from historian.frame import NS
from process.cycles import Cycle, cycles_of
from rules.review import Window
from trials.figures import Calibration, Trace

T0_NS = 1_800_000_000 * NS
LENGTH_S = 3600
PERIOD_S, WIPE_S = 240, 22
WINDOW = (Window(T0_NS, T0_NS + LENGTH_S * NS),)
KNOWN = Calibration({"a gauge": 0.0})


def trace(path: str, value: object, *, step_s: int = 1, calibration: Calibration | None = KNOWN) -> Trace:
    """Evenly spaced samples over the hour; one number stands for all."""
    second = np.arange(0, LENGTH_S, step_s)
    return Trace.of(
        path, T0_NS + second * NS, np.broadcast_to(np.asarray(value, float), second.shape), calibration
    )


def saw_tooth() -> np.ndarray:
    """Pressure difference: from 24 to 45 bar in 218 s, wiped down in 22 s."""
    phase = np.arange(LENGTH_S) % PERIOD_S
    rising = PERIOD_S - WIPE_S
    wiping = phase >= rising
    return np.where(wiping, 45 - 21 * (phase - rising) / WIPE_S, 24 + 21 * phase / rising)


def wiper() -> np.ndarray:
    """1 while it wipes."""
    return (np.arange(LENGTH_S) % PERIOD_S >= PERIOD_S - WIPE_S).astype(float)


def line() -> dict[str, Trace]:
    """An hour at 780 kg/h: 1.1 kg discharged at each cleaning, the rest on the product scale, less steam."""
    dp = saw_tooth()
    discharged = 1.1 * np.cumsum(np.diff(wiper(), prepend=0) > 0)
    made = {
        "doser.rate.pv": 780.0,
        "product.scale.total": 100 + np.arange(LENGTH_S) * 760 / 3600,
        "filter.discharge.weight.total": discharged,
        "filter.inlet.pressure.pv": 60 + dp,
        "filter.outlet.pressure.pv": 60.0,
        "filter.wiper.state": wiper(),
        "die.pressure.pv": 55.0,
        "extruder.melt.temp.pv": 222.0,
        "extruder.screw.speed.pv": 95.0,
        "extruder.drive.power.pv": 148.0,
        "extruder.drive.energy.total": 5000 + np.floor(np.arange(LENGTH_S) * 148 / 360) / 10,
        "line.energy.total": 9000 + np.floor(np.arange(LENGTH_S) * 192 / 360) / 10,
        "pelletizer.knife.speed.pv": 1607.0,
        "water.supply.temp.pv": 42.0,
        "water.return.temp.pv": 46.25,
        "water.flow.pv": 22.0,
        "pellet.moisture.pv": 0.08,
        "filter.plate.1.temp.pv": 220.5,
        "filter.plate.1.temp.sp": 220.0,
        "filter.plate.1.out": 33.0,
        "filter.plate.2.temp.pv": 218.0,
        "filter.plate.2.temp.sp": 220.0,
        "filter.plate.2.out": 40.0,
    }
    return {path: trace(path, value) for path, value in made.items()}


def cycles() -> list[Cycle]:
    """The cleanings of that hour."""
    time_ns = T0_NS + np.arange(LENGTH_S, dtype=np.int64) * NS
    return cycles_of(time_ns, saw_tooth(), wiper(), np.full(LENGTH_S, 55.0))
