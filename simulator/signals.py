"""The signals that the simulated line publishes, and how each sensor tells the truth a little wrongly."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from historian.catalogue import canonical_tag, meaning_of
from historian.tags import Tag, TagKind
from simulator.chance import BLOCK_STEPS, normals
from simulator.filter import WiperState
from simulator.heaters import HeatedZone
from simulator.panel import panel_of, zones_of
from simulator.plant import Plant

Readings = NDArray[np.float64]

# A screw drive's torque follows its own past: noise of this memory.
_TORQUE_MEMORY = 0.8
_MEMORY_STEPS = 40
_RIPPLE_BAR = 0.3
_OWN_UNITS = {"filter.wipe.dp.sp": ("bar", "pressure difference that starts a cleaning, set-point", "gauge")}
_OWN_UNITS["filter.wipe.time.sp"] = ("s", "longest time between two cleanings, set-point", "")


@dataclass(frozen=True, slots=True)
class Signal:
    """One published signal.

    Attributes:
        path: of its tag.
        read: the value without the sensor's errors, in the tag's unit.
        sigma: standard deviation of the noise.
        decimals: resolution; None: as it comes.
        quiet_at_rest: no noise while the value is next to nothing (a drive at rest, a heater off).
        full: the value's end, where there is no noise either; None: it has none.
        memory: of the noise from one second to the next, 0–1.
        difference_of: the two signals whose published values it is the difference of.
    """

    path: str
    read: Callable[[], float]
    sigma: float = 0.0
    decimals: int | None = 1
    quiet_at_rest: bool = False
    full: float | None = None
    memory: float = 0.0
    difference_of: tuple[str, str] | None = None


def signals_of(plant: Plant, aux_channels: int = 0) -> list[Signal]:
    """Every signal of the plant, analog ones and held ones, in a fixed order.

    ``aux_channels`` adds channels ``aux.channel.N.pv`` that carry noise and nothing else, to make up a load.
    """
    return [
        *_heater_signals(plant),
        *_extruder_signals(plant),
        *_filter_signals(plant),
        *_wiper_signals(plant),
        *_pelletizer_signals(plant),
        *_hall_signals(plant),
        *[Signal(path, knob.read, decimals=None) for path, knob in panel_of(plant).items()],
        *[
            Signal(f"aux.channel.{n}.pv", lambda: 50.0, sigma=1.0, decimals=None)
            for n in range(1, aux_channels + 1)
        ],
    ]


def tag_of(path: str, source: str) -> Tag:
    """The tag of a published signal."""
    if path in _OWN_UNITS:
        unit, text, reference = _OWN_UNITS[path]
        return Tag(path, unit, TagKind.STEP, text, reference, source=source, simulated=True)
    tag = canonical_tag(path, source=source, simulated=True)
    return tag if meaning_of(path) is not None else replace(tag, text="made-up channel for load tests")


def _heater_signals(plant: Plant) -> list[Signal]:
    return [signal for prefix, zone in zones_of(plant).items() for signal in _zone_signals(prefix, zone)]


def _zone_signals(prefix: str, zone: HeatedZone) -> list[Signal]:
    return [
        Signal(f"{prefix}.temp.pv", lambda: zone.sensed_cel, 0.12),
        Signal(f"{prefix}.out", lambda: zone.output_percent, 0.4, quiet_at_rest=True, full=100.0),
        Signal(f"{prefix}.i", lambda: zone.current_a, 0.03, 2, quiet_at_rest=True),
    ]


def _extruder_signals(plant: Plant) -> list[Signal]:
    x = plant.extruder
    return [
        Signal("doser.rate.pv", lambda: x.feed_kg_h, 6.0, quiet_at_rest=True),
        Signal("doser.weight.pv", lambda: x.hopper_kg, 0.1),
        Signal("doser.refill.state", lambda: float(x.refilling)),
        Signal("extruder.throat.temp.pv", lambda: x.throat_cel, 0.12),
        Signal("extruder.screw.speed.pv", lambda: x.screw_min, 0.1, quiet_at_rest=True),
        Signal(
            "extruder.drive.torque.pv",
            lambda: x.torque_percent,
            0.6,
            quiet_at_rest=True,
            memory=_TORQUE_MEMORY,
        ),
        Signal("extruder.drive.current.pv", lambda: x.current_a, 2.0, quiet_at_rest=True),
        Signal("extruder.drive.power.pv", lambda: x.power_kw, 1.2, quiet_at_rest=True),
        Signal("extruder.drive.energy.total", lambda: int(x.energy_kwh * 10.0) / 10.0),
        Signal("extruder.melt.temp.pv", lambda: x.leaving_cel, 0.25),
        Signal("extruder.head.pressure.pv", lambda: plant.head_bar + _RIPPLE_BAR * x.ripple, 0.35),
        Signal("extruder.enable.state", lambda: float(x.enabled)),
    ]


def _filter_signals(plant: Plant) -> list[Signal]:
    x, f = plant.extruder, plant.filter
    return [
        Signal("filter.inlet.pressure.pv", lambda: plant.inlet_bar + _RIPPLE_BAR * x.ripple, 0.35),
        Signal("filter.outlet.pressure.pv", lambda: plant.outlet_bar + _RIPPLE_BAR * x.ripple, 0.30),
        Signal(
            "filter.dp.calc",
            lambda: plant.difference_bar,
            difference_of=("filter.inlet.pressure.pv", "filter.outlet.pressure.pv"),
        ),
        Signal("filter.inlet.melt_temp.pv", lambda: x.leaving_cel - 0.5, 0.25),
        Signal("filter.outlet.melt_temp.pv", lambda: plant.outlet_cel, 0.25),
        Signal("filter.discharge.weight.total", lambda: f.scale_kg, decimals=2),
    ]


def _wiper_signals(plant: Plant) -> list[Signal]:
    f = plant.filter

    def while_wiping(value: float) -> float:
        return value if f.state is WiperState.WIPING else 0.0

    return [
        Signal("filter.wiper.state", lambda: float(f.state)),
        Signal("filter.wiper.angle.pv", lambda: f.angle_deg),
        Signal("filter.wiper.park.state", lambda: float(f.state is WiperState.PARKED)),
        Signal("filter.wiper.speed.pv", lambda: f.speed_min, 0.05, 2, quiet_at_rest=True),
        Signal("filter.wiper.torque.pv", lambda: f.torque_percent, 3.0, quiet_at_rest=True),
        Signal("filter.wipe.count.total", lambda: float(f.wipes)),
        Signal("filter.wipe.trigger.state", lambda: float(f.last_trigger)),
        Signal("filter.discharge.screw.speed.pv", lambda: while_wiping(8.0), 0.1, 1, quiet_at_rest=True),
        Signal("filter.discharge.screw.torque.pv", lambda: while_wiping(35.0), 2.0, 1, quiet_at_rest=True),
    ]


def _pelletizer_signals(plant: Plant) -> list[Signal]:
    x, p = plant.extruder, plant.pelletizer
    return [
        Signal("die.pressure.pv", lambda: plant.die_bar + _RIPPLE_BAR * x.ripple, 0.30),
        Signal("pelletizer.knife.speed.pv", lambda: p.knife_min, 2.0, 0, quiet_at_rest=True),
        Signal("pelletizer.knife.torque.pv", lambda: p.knife_torque_percent, 1.0, quiet_at_rest=True),
        Signal("pelletizer.knife.pressure.pv", lambda: p.knife_bar, 0.01, 2, quiet_at_rest=True),
        Signal("pelletizer.closed.state", lambda: 1.0),
        Signal("water.supply.temp.pv", lambda: p.water_cel, 0.05, 2),
        Signal("water.return.temp.pv", lambda: p.return_cel, 0.08, 2),
        Signal("water.flow.pv", lambda: p.water_m3_h, 0.1, 1, quiet_at_rest=True),
        Signal("water.pressure.pv", lambda: 2.4 * (p.water_m3_h / 22.0) ** 2, 0.01, 2, quiet_at_rest=True),
        Signal("water.cooler.valve.out", lambda: 100.0 * p.valve, 0.2, quiet_at_rest=True, full=100.0),
        Signal("dryer.current.pv", lambda: p.dryer_a, 0.1, quiet_at_rest=True),
        Signal("product.scale.total", lambda: p.scale_kg),
    ]


def _hall_signals(plant: Plant) -> list[Signal]:
    return [
        Signal("line.power.pv", lambda: plant.line_kw, 1.2),
        Signal("line.energy.total", lambda: int(plant.line_kwh * 10.0) / 10.0),
        Signal("room.temp.pv", lambda: plant.ambient_cel, 0.05),
    ]


class Instruments:
    """Turns readings into what the sensors show: noise of their own streams, then their resolution.

    A reading's noise depends on seed, path and second only, so any run of seconds gives the same numbers.
    """

    def __init__(self, signals: Sequence[Signal], *, seed: int, scatter: bool) -> None:
        self._signals = list(signals)
        self._seed = seed
        self._scatter = scatter
        self._noisy = [k for k, s in enumerate(signals) if s.sigma > 0.0]
        # No noise at or below the first, nor at or above the second.
        self._rest = np.array([0.5 if s.quiet_at_rest else -1.0 for s in signals])
        self._full = np.array([np.inf if s.full is None else s.full - 2.0 for s in signals])
        self._scale = np.array([10.0 ** (s.decimals or 0) for s in signals])
        self._rounded = np.array([s.decimals is not None for s in signals], dtype=bool)
        places = {s.path: k for k, s in enumerate(signals)}
        self._differences = [
            (k, places[s.difference_of[0]], places[s.difference_of[1]])
            for k, s in enumerate(signals)
            if s.difference_of is not None
        ]
        self._block = -1
        self._noise: Readings = np.zeros((BLOCK_STEPS, len(self._signals)))

    def show(self, seconds: Sequence[int], readings: Readings) -> Readings:
        """What the sensors show at those rising seconds.

        Args:
            readings: shape (seconds, signals), in the signals' order.
        """
        shown = readings
        if self._scatter:
            noise = self._noise_of(seconds)
            size = np.abs(readings)
            at_end = (size <= self._rest) | (size >= self._full)
            noisy = readings + np.where(at_end, 0.0, noise)
            shown = np.where(self._rounded, np.rint(noisy * self._scale) / self._scale, noisy) + 0.0
        else:
            shown = readings.copy()
        for place, first, second in self._differences:
            shown[:, place] = shown[:, first] - shown[:, second]
            if self._scatter:
                shown[:, place] = np.rint(shown[:, place] * 10.0) / 10.0 + 0.0
        return shown

    def _noise_of(self, seconds: Sequence[int]) -> Readings:
        blocks, rows = np.divmod(np.asarray(seconds, dtype=np.int64), BLOCK_STEPS)
        parts = []
        for block in np.unique(blocks).tolist():
            if block != self._block:
                self._draw(block)
            parts.append(self._noise[rows[blocks == block]])
        return np.concatenate(parts)

    def _draw(self, block: int) -> None:
        self._block = block
        noise = np.zeros((BLOCK_STEPS, len(self._signals)))
        for place in self._noisy:
            signal = self._signals[place]
            white = normals(self._seed, signal.path, block)
            if signal.memory > 0.0:
                white = self._with_memory(signal, block, white)
            noise[:, place] = signal.sigma * white
        self._noise = noise

    def _with_memory(self, signal: Signal, block: int, white: Readings) -> Readings:
        """Noise that remembers, from the newest ``_MEMORY_STEPS`` numbers: what is older weighs nothing."""
        before = normals(self._seed, signal.path, block - 1) if block > 0 else np.zeros(BLOCK_STEPS)
        weights = signal.memory ** np.arange(_MEMORY_STEPS) * np.sqrt(1.0 - signal.memory**2)
        long = np.concatenate([before[-_MEMORY_STEPS + 1 :], white])
        return np.convolve(long, weights, mode="valid")
