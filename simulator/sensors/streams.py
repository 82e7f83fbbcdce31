"""The random part of each sensor's samples, by seed, path and sample number and nothing else.

Numbers are drawn in blocks of ``BLOCK_STEPS`` samples, so that any cut of a run into pieces gives the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from simulator.chance import BLOCK_STEPS, normals, uniforms
from simulator.sensors.sensor import Readings, Sensor, Signal

Millis = NDArray[np.int64]

# What is older than forty seconds weighs nothing at a memory of 0.8 a second.
_MEMORY_S = 40.0
_KNOT_S = 600.0


@dataclass(frozen=True, slots=True)
class Draw:
    """The random part of some samples, each array of shape (samples, signals).

    Attributes:
        noise: in the tag's unit.
        drift: of the zero, in the tag's unit.
        chance: uniform, 0–1: the sample never comes where it is below the missing share.
        late_ms: how long after its nominal time the sample was taken, whole milliseconds.
    """

    noise: Readings
    drift: Readings
    chance: Readings
    late_ms: Millis


class Streams:
    """The random parts of several sensors that are sampled together, every ``step_s``."""

    def __init__(self, signals: Sequence[Signal], *, seed: int, step_s: float) -> None:
        self._signals = list(signals)
        self._seed = seed
        self._step_s = step_s
        self._walks: dict[int, Readings] = {}
        self._block = -1
        self._drawn: Draw

    def at(self, indices: Sequence[int]) -> Draw:
        """The random part of samples with those rising numbers."""
        blocks, rows = np.divmod(np.asarray(indices, dtype=np.int64), BLOCK_STEPS)
        parts = []
        for block in np.unique(blocks).tolist():
            if block != self._block:
                self._drawn, self._block = self._draw(block), block
            chosen, drawn = rows[blocks == block], self._drawn
            parts.append(
                (drawn.noise[chosen], drawn.drift[chosen], drawn.chance[chosen], drawn.late_ms[chosen])
            )
        if len(parts) == 1:
            return Draw(*parts[0])
        noise, drift, chance, late_ms = zip(*parts, strict=True)
        return Draw(
            np.concatenate(noise), np.concatenate(drift), np.concatenate(chance), np.concatenate(late_ms)
        )

    def chances(self, place: int, indices: Sequence[int]) -> Readings:
        """Uniform numbers of one signal, for a share of missing samples that is not its own."""
        path = self._signals[place].path
        blocks, rows = np.divmod(np.asarray(indices, dtype=np.int64), BLOCK_STEPS)
        found = np.empty(len(rows))
        for block in np.unique(blocks).tolist():
            inside = blocks == block
            found[inside] = uniforms(self._seed, f"{path}: upset", block)[rows[inside]]
        return found

    def _draw(self, block: int) -> Draw:
        shape = (BLOCK_STEPS, len(self._signals))
        draw = Draw(np.zeros(shape), np.zeros(shape), np.ones(shape), np.zeros(shape, dtype=np.int64))
        for place, signal in enumerate(self._signals):
            sensor = signal.sensor
            if sensor.sigma > 0.0:
                white = normals(self._seed, signal.path, block)
                if sensor.memory > 0.0:
                    white = self._with_memory(signal, block, white)
                draw.noise[:, place] = sensor.sigma * white
            if sensor.drift_per_root_h > 0.0:
                draw.drift[:, place] = self._drift(place, block)
            if sensor.missing_share > 0.0:
                draw.chance[:, place] = uniforms(self._seed, f"{signal.path}: missing", block)
            if sensor.jitter_s > 0.0:
                widest_ms = self._widest_ms(sensor)
                drawn = uniforms(self._seed, f"{signal.path}: jitter", block)
                draw.late_ms[:, place] = (drawn * (widest_ms + 1)).astype(np.int64)
        return draw

    def _widest_ms(self, sensor: Sensor) -> int:
        """Samples of one tag keep their order: the widest jitter is shorter than the time between them."""
        return int(min(2.0 * sensor.jitter_s, 0.9 * self._step_s) * 1000.0 + 0.5)

    def _with_memory(self, signal: Signal, block: int, white: Readings) -> Readings:
        """Noise that remembers, from the newest numbers: what is older weighs nothing."""
        steps = int(_MEMORY_S / self._step_s)
        keep = signal.sensor.memory**self._step_s
        before = normals(self._seed, signal.path, block - 1) if block > 0 else np.zeros(BLOCK_STEPS)
        weights = keep ** np.arange(steps) * np.sqrt(1.0 - keep**2)
        long = np.concatenate([before[-steps + 1 :], white])
        remembered: Readings = np.convolve(long, weights, mode="valid")
        return remembered

    def _drift(self, place: int, block: int) -> Readings:
        """A random walk between knots, thrown back at its bounds."""
        sensor = self._signals[place].sensor
        times_s = (block * BLOCK_STEPS + np.arange(BLOCK_STEPS)) * self._step_s
        walk = self._walk(place, int(times_s[-1] / _KNOT_S) + 2)
        knots = walk * sensor.drift_per_root_h * sqrt(_KNOT_S / 3600.0)
        if sensor.drift_bound > 0.0:
            knots = _folded(knots, sensor.drift_bound)
        drift: Readings = np.interp(times_s, np.arange(len(knots)) * _KNOT_S, knots)
        return drift

    def _walk(self, place: int, knots: int) -> Readings:
        walk = self._walks.get(place, np.zeros(0))
        if len(walk) < knots:
            name = f"{self._signals[place].path}: drift"
            blocks = range(-(-knots // BLOCK_STEPS))
            steps = np.concatenate([normals(self._seed, name, block) for block in blocks])
            # It begins at nought: instruments are set to zero before a trial.
            walk = np.concatenate([[0.0], np.cumsum(steps)])
            self._walks[place] = walk
        return walk


def _folded(values: Readings, bound: float) -> Readings:
    """The values thrown back at ±bound as often as it takes.

    Example:
        >>> _folded(np.array([0.5, 1.5, 3.0, -1.25]), 1.0).tolist()
        [0.5, 0.5, -1.0, -0.75]
    """
    return bound - np.abs((values + bound) % (4.0 * bound) - 2.0 * bound)
