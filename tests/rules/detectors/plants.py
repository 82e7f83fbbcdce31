"""Made-up machines for detector tests: heater plates after a closed form, a filter as a saw-tooth."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from historian.frame import Series
from rules.line import LineFacts, MeltFilter
from tests.rules.detectors.signals import Floats, series

PLATES = 8
SETPOINT_CEL = 220.0
HOLD_PERCENT = 33.0
NOMINAL_A = 6.0
# An open plate with melt: 188 Cel in the end, time constant 1125 s (closed form of the energy balance).
OPEN_END_CEL, OPEN_TAU_S = 187.7, 1125.0
HEATING_K_MIN = 5.0

FACTS = LineFacts(
    "test line",
    MeltFilter(plates=PLATES, trigger_dp_bar=45.0, trigger_held_s=4.0, max_interval_s=540.0),
    planned_kg_h=780.0,
)


@dataclass
class Plates:
    """Eight heater plates, one sample a second, each holding its set-point until something is done to it."""

    duration_s: int
    seed: int = 1
    with_current: bool = True
    signals: dict[str, Series] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.time_s = np.arange(self.duration_s, dtype=np.float64)
        self.chance = np.random.default_rng(self.seed)
        shape = (PLATES, self.duration_s)
        self.temp = np.full(shape, SETPOINT_CEL) + 0.12 * self.chance.standard_normal(shape)
        self.setpoint = np.full(shape, SETPOINT_CEL)
        self.out = np.full(shape, HOLD_PERCENT) + 0.4 * self.chance.standard_normal(shape)
        self.current = np.full(shape, NOMINAL_A)
        self.enabled = np.ones(shape)

    def open(self, plate: int, at_s: int, until_s: int | None = None) -> None:
        """The plate's element breaks: its temperature decays, the controller asks for ever more."""
        end = self.duration_s if until_s is None else until_s
        since = self.time_s[at_s:end] - at_s
        fall = (SETPOINT_CEL - OPEN_END_CEL) * (1 - np.exp(-since / OPEN_TAU_S))
        self.temp[plate - 1, at_s:end] -= fall
        self.out[plate - 1, at_s:end] = np.minimum(100.0, HOLD_PERCENT + 6 * fall + since / 15)
        self.current[plate - 1, at_s:end] = 0.0
        if until_s is not None:
            back = np.minimum(fall[-1], (self.time_s[end:] - end) * 3.5 / 60)
            self.temp[plate - 1, end:] -= fall[-1] - back
            self.out[plate - 1, end:] = np.where(back < fall[-1] - 1, 100.0, HOLD_PERCENT)

    def heat_up(self, until_cel: float = 20.0, rates: dict[int, float] | None = None) -> None:
        """All plates start cold and warm at full output, then hold."""
        for plate in range(1, PLATES + 1):
            rate = (rates or {}).get(plate, HEATING_K_MIN)
            ramp = until_cel + self.time_s * rate / 60
            self.temp[plate - 1] = np.minimum(ramp, SETPOINT_CEL) + self.temp[plate - 1] - SETPOINT_CEL
            self.out[plate - 1, ramp < SETPOINT_CEL - 4] = 100.0

    def made(self) -> dict[str, Series]:
        """The signals by path; set-points and switches are sent once a minute."""
        signals = {}
        for plate in range(1, PLATES + 1):
            prefix, row = f"filter.plate.{plate}", plate - 1
            signals[f"{prefix}.temp.pv"] = series(self.time_s, self.temp[row])
            signals[f"{prefix}.out"] = series(self.time_s, self.out[row])
            if self.with_current:
                signals[f"{prefix}.i"] = series(self.time_s, self.current[row])
            signals[f"{prefix}.temp.sp"] = changes(self.time_s, self.setpoint[row])
            signals[f"{prefix}.enabled.state"] = changes(self.time_s, self.enabled[row])
        return signals


def changes(time_s: Floats, value: Floats) -> Series:
    """A signal that is sent when it changes, and once a minute."""
    sent = np.concatenate(([True], np.diff(value) != 0)) | (np.arange(len(value)) % 60 == 0)
    return series(time_s[sent], value[sent])


@dataclass
class Filter:
    """A filter's saw-tooth, one sample a second; the wiper starts at the trigger.

    Attributes:
        rise: relative rise of the trough a cleaning.
        cycles: how many cleanings.
        start_s: when melt comes on.
    """

    cycles: int
    rise: float = 0.004
    seed: int = 1
    start_s: int = 30
    period_s: int = 240
    wipe_s: int = 22
    clean_bar: float = 24.0
    trigger_bar: float = 45.0
    die_bar: float = 60.0
    scatter_bar: float = 0.3

    def __post_init__(self) -> None:
        self.duration_s = self.start_s + self.cycles * self.period_s
        self.time_s = np.arange(self.duration_s, dtype=np.float64)
        since = self.time_s - self.start_s
        phase = since % self.period_s
        self.number = np.maximum(since // self.period_s, 0).astype(int)
        trough = self.clean_bar * (1 + self.rise) ** self.number
        after = self.clean_bar * (1 + self.rise) ** (self.number + 1)
        rising = self.period_s - self.wipe_s
        share = np.minimum(phase / rising, 1.0)
        wiped = np.maximum(phase - rising, 0.0) / self.wipe_s
        top = trough + (self.trigger_bar - trough) * share
        self.on = since >= 0
        self.dp = np.where(phase < rising, top, self.trigger_bar + (after - self.trigger_bar) * wiped)
        self.wiper = np.where(self.on & (phase >= rising), 1.0, 0.0)
        self.die = np.full(self.duration_s, self.die_bar)
        self.feed_sp = np.where(self.on, 780.0, 0.0)
        self.speed = np.where(self.on, 95.0, 0.0)

    def made(self, *, with_die: bool = True) -> dict[str, Series]:
        """The signals by path, with scatter."""
        chance = np.random.default_rng(self.seed)
        noise = self.scatter_bar * chance.standard_normal((3, self.duration_s))
        dp = np.where(self.on, self.dp + noise[0], 0.0)
        feed = np.where(self.feed_sp > 0, self.feed_sp + 20 * noise[2], 0.0)
        signals = {
            "filter.dp.calc": series(self.time_s, dp),
            "filter.wiper.state": changes(self.time_s, self.wiper),
            "doser.rate.pv": series(self.time_s, feed),
            "doser.rate.sp": changes(self.time_s, self.feed_sp),
            "extruder.screw.speed.pv": series(self.time_s, self.speed),
        }
        if with_die:
            signals["die.pressure.pv"] = series(self.time_s, np.where(self.on, self.die + noise[1], 0.0))
        return signals
