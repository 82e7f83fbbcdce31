"""What the line's instruments show: readings through each sensor's errors and upsets, with their quality."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import NDArray

from historian.catalogue import meaning_of
from historian.frame import Qualities
from historian.quality import RANGE_EXCEEDED, SENSOR_FAILURE, Mask
from historian.tags import TagKind
from simulator.machines.upsets import SensorUpset
from simulator.sensors import Readings, Signal
from simulator.sensors.streams import Draw, Streams

# Which sensors are upset: column → (row, what is wrong), rows rising.
UpsetRows = Mapping[int, Sequence[tuple[int, SensorUpset]]]


@dataclass(frozen=True, slots=True)
class Shown:
    """What sensors show at some sample numbers; each array of shape (samples, signals).

    Attributes:
        value: in the tag's unit.
        quality: OPC UA StatusCode; the value stands beside it even where it is bad.
        present: whether the sample comes at all.
        late_ms: how long after its nominal time it was taken.
    """

    value: Readings
    quality: Qualities
    present: Mask
    late_ms: NDArray[np.int64]


class Instruments:
    """Turns readings into what the sensors show.

    What is random depends on seed, path and sample number only. Lags and frozen values follow from the
    samples before; so a run that is taken in pieces, one after the other, shows the same as in one go.

    Args:
        signals: in the order of the columns.
        seed: of the random streams.
        scatter: whether sensors err; upsets count either way.
        step_s: time from one sample number to the next.
    """

    def __init__(self, signals: Sequence[Signal], *, seed: int, scatter: bool, step_s: float = 1.0) -> None:
        self._scatter = scatter
        self._step_s = step_s
        self._streams = Streams(signals, seed=seed, step_s=step_s)
        sensors = [s.sensor for s in signals]
        # No noise at or below the first, nor at or above the second.
        self._rest = np.array([0.5 if s.quiet_at_rest else -1.0 for s in sensors])
        self._full = np.array([np.inf if s.full is None else s.full - 2.0 for s in sensors])
        self._scale = np.array([10.0 ** (s.decimals or 0) for s in sensors])
        self._rounded = np.array([s.decimals is not None for s in sensors], dtype=bool)
        self._share = np.array([s.missing_share for s in sensors])
        self._every = np.array([s.every for s in sensors], dtype=np.int64)
        self._thinned = bool((self._every > 1).any())
        ranges = [_range_of(s.path) for s in signals]
        self._low, self._high = (np.array([r[k] for r in ranges]) for k in (0, 1))
        self._break = np.array([np.inf if s.break_above is None else s.break_above for s in sensors])
        self._tells = np.array([SENSOR_FAILURE if s.tells_break else 0 for s in sensors], dtype=np.uint32)
        self._lagging = np.array([k for k, s in enumerate(sensors) if scatter and s.lag_s > 0.0], dtype=int)
        self._lag_s = np.array([sensors[k].lag_s for k in self._lagging])
        places = {s.path: k for k, s in enumerate(signals)}
        self._differences = {
            k: (places[s.difference_of[0]], places[s.difference_of[1]])
            for k, s in enumerate(signals)
            if s.difference_of is not None
        }
        # Of the sample before: its number, after the lags, as shown.
        self._index: int | None = None
        self._slow: Readings = np.zeros(0)
        self._felt: Readings = np.zeros(0)
        self._dragged: dict[int, float] = {}
        self._before: tuple[Readings, Qualities] | None = None

    def show(self, indices: Sequence[int], readings: Readings) -> Readings:
        """The values that sound sensors show at those rising sample numbers, shape (samples, signals)."""
        return self.take(indices, readings).value

    def take(
        self,
        indices: Sequence[int],
        readings: Readings,
        upsets: UpsetRows | None = None,
        unrest: Mapping[int, Sequence[float]] | None = None,
    ) -> Shown:
        """What the sensors show at those rising sample numbers.

        Args:
            indices: sample numbers, at least one.
            readings: without any error, shape (samples, signals).
            upsets: what is wrong with which sensor at which of these samples.
            unrest: columns whose noise is more than ordinary: factors, shape (samples,).
        """
        upsets = upsets or {}
        draw = self._streams.at(indices) if self._scatter else None
        if draw is not None and unrest:
            for column, factors in unrest.items():
                draw.noise[:, column] *= factors
        felt = self._after_lags(indices, readings, upsets)
        bent = self._bent(felt, upsets)
        value, quality = self._digitised(bent, draw)
        self._hold(value, quality, upsets, differences=False)
        self._subtract(value, quality, upsets)
        self._hold(value, quality, upsets, differences=True)
        present = np.ones(value.shape, dtype=bool) if draw is None else draw.chance >= self._share
        if self._scatter and self._thinned:
            present &= np.asarray(indices)[:, None] % self._every == 0
        for column, rows in upsets.items():
            self._lose(present, column, rows, indices)
        late = np.zeros(value.shape, dtype=np.int64) if draw is None else draw.late_ms
        self._before = value[-1].copy(), quality[-1].copy()
        return Shown(value, quality, present, late)

    def _after_lags(self, indices: Sequence[int], readings: Readings, upsets: UpsetRows) -> Readings:
        numbers = np.asarray(indices, dtype=np.int64)
        first = numbers[0] if self._index is None else self._index
        elapsed_s = np.diff(numbers, prepend=first) * self._step_s
        felt = np.array(readings, dtype=np.float64)
        if len(self._lagging):
            wanted = felt[:, self._lagging]
            state = wanted[0] if self._index is None else self._slow
            take = 1.0 - np.exp(-elapsed_s[:, None] / self._lag_s)
            for row in range(len(wanted)):
                state = state + take[row] * (wanted[row] - state)
                wanted[row] = state
            self._slow = state
            felt[:, self._lagging] = wanted
        dragged: dict[int, float] = {}
        last_felt = felt[-1].copy()
        for column, rows in upsets.items():
            self._drag(felt, column, rows, elapsed_s, dragged)
        self._index, self._felt, self._dragged = int(numbers[-1]), last_felt, dragged
        return felt

    def _drag(
        self,
        felt: Readings,
        column: int,
        rows: Sequence[tuple[int, SensorUpset]],
        elapsed_s: Readings,
        dragged: dict[int, float],
    ) -> None:
        """A sensor that has become slow: a further lag, from the value that it had when it became so."""
        if not any(upset.lag_s > 0.0 for _, upset in rows):
            return
        plain = felt[:, column].copy()
        state = self._dragged.get(column)
        last_row = -1
        for row, upset in rows:
            if upset.lag_s <= 0.0:
                state = None
                continue
            if state is None or row != last_row + 1:
                state = plain[row - 1] if row > 0 else self._felt[column] if len(self._felt) else plain[0]
            state += (1.0 - exp(-elapsed_s[row] / upset.lag_s)) * (plain[row] - state)
            felt[row, column] = state
            last_row = row
        if state is not None and last_row == len(felt) - 1:
            dragged[column] = float(state)

    def _bent(self, felt: Readings, upsets: UpsetRows) -> Readings:
        for column, rows in upsets.items():
            if column not in self._differences:
                _bend(felt, column, rows)
        return felt

    def _digitised(self, bent: Readings, draw: Draw | None) -> tuple[Readings, Qualities]:
        """Noise, range and resolution; a value beyond the range stands at its end and is uncertain."""
        outside = (bent < self._low) | (bent > self._high)
        quality = np.where(outside, RANGE_EXCEEDED, 0).astype(np.uint32)
        value = bent
        if draw is not None:
            size = np.abs(bent)
            at_end = (size <= self._rest) | (size >= self._full)
            noisy = bent + np.where(at_end, 0.0, draw.noise) + draw.drift
            value = np.where(self._rounded, np.rint(noisy * self._scale) / self._scale, noisy) + 0.0
        value = np.clip(value, self._low, self._high)
        broken = bent > self._break
        if broken.any():
            value = np.where(broken, bent, value)
            quality = np.where(broken, self._tells, quality)
        return value, quality

    def _subtract(self, value: Readings, quality: Qualities, upsets: UpsetRows) -> None:
        """What the controller subtracts from what two sensors show is no better than the worse of them."""
        for column, (first, second) in self._differences.items():
            value[:, column] = value[:, first] - value[:, second]
            quality[:, column] = np.maximum(quality[:, first], quality[:, second])
            if column in upsets:
                _bend(value, column, upsets[column])
            if self._scatter and self._rounded[column]:
                scale = self._scale[column]
                value[:, column] = np.rint(value[:, column] * scale) / scale + 0.0

    def _hold(self, value: Readings, quality: Qualities, upsets: UpsetRows, *, differences: bool) -> None:
        """Frozen sensors show what they showed before; dead ones stand at the low end and say so."""
        for column, rows in upsets.items():
            if (column in self._differences) != differences:
                continue
            for row, upset in rows:
                if upset.dead:
                    low = self._low[column]
                    value[row, column] = low if np.isfinite(low) else 0.0
                    quality[row, column] = SENSOR_FAILURE
                elif upset.frozen and row > 0:
                    value[row, column] = value[row - 1, column]
                    quality[row, column] = quality[row - 1, column]
                elif upset.frozen and self._before is not None:
                    value[row, column] = self._before[0][column]
                    quality[row, column] = self._before[1][column]

    def _lose(
        self, present: Mask, column: int, rows: Sequence[tuple[int, SensorUpset]], indices: Sequence[int]
    ) -> None:
        shares = {row: upset.missing_share for row, upset in rows if upset.missing_share > 0.0}
        if shares:
            chances = self._streams.chances(column, indices)
            for row, share in shares.items():
                present[row, column] &= chances[row] >= share


def _bend(values: Readings, column: int, rows: Sequence[tuple[int, SensorUpset]]) -> None:
    for row, upset in rows:
        values[row, column] = upset.gain * values[row, column] + upset.offset


def _range_of(path: str) -> tuple[float, float]:
    """What the sensor can show; set-points, counters and states have no such end."""
    meaning = meaning_of(path)
    if meaning is None or meaning.kind is not TagKind.ANALOG:
        return -np.inf, np.inf
    return meaning.low, meaning.high
