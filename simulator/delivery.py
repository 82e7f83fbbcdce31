"""What becomes of shown samples on their way out: chosen, stamped by the source, held back or lost."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from historian.errors import WrongInput
from historian.frame import NS, Qualities, Times
from historian.quality import Mask
from simulator.machines.upsets import SourceUpset
from simulator.recorder import Lot, Stretch
from simulator.sensors import SOURCES, Readings

# A clock that goes off by more than this between two seconds has stepped.
STEP_S = 2.0

_MS_NS = 1_000_000
_SOUND = SourceUpset()


@dataclass(frozen=True, slots=True)
class Samples:
    """Samples one after the other; each array of shape (samples,).

    Attributes:
        column: place of the signal in the recorder's order.
        time_ns: source time from second 0, by the clock of the source.
        value: in the tag's unit, whatever the quality.
        quality: OPC UA StatusCode.
        epoch: how often the clock of the source had stepped.
        second: row of the second in the stretch, or -1 for what was held back before it.
    """

    column: NDArray[np.int64]
    time_ns: Times
    value: Readings
    quality: Qualities
    epoch: NDArray[np.int64]
    second: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.column)

    def where(self, chosen: Mask | NDArray[np.int64]) -> Samples:
        """The chosen ones, by mask or in an order of places."""
        return Samples(
            self.column[chosen],
            self.time_ns[chosen],
            self.value[chosen],
            self.quality[chosen],
            self.epoch[chosen],
            self.second[chosen],
        )

    def waiting(self) -> Samples:
        """The same, held back into the next stretch."""
        return Samples(
            self.column, self.time_ns, self.value, self.quality, self.epoch, np.full(len(self), -1)
        )


class _Source:
    """What a delivery remembers of one source."""

    def __init__(self, ahead_s: float) -> None:
        self.ahead_s = self.clock_s = ahead_s
        self.epoch = 0
        self.waiting: list[Samples] = []


class Delivery:
    """Chooses the samples that are published, and lets the sources do with them what they do.

    Measured values are published whenever they come; set-points, states and counters at the start and when
    they change.

    Args:
        held: which signals hold until they change, shape (signals,).
        sources: name of the source of each signal.
        repeat_s: what holds comes again in seconds that this divides; None: it does not.
        clocks: how far the clock of a source is ahead from the start, s; not there: not at all.

    Raises:
        WrongInput: for a source that the line does not have.
    """

    def __init__(
        self,
        held: Mask,
        sources: Sequence[str],
        *,
        repeat_s: int | None = None,
        clocks: Mapping[str, float] | None = None,
    ) -> None:
        self._held = held
        self._repeat_s = repeat_s
        self._place = np.array([SOURCES.index(name) for name in sources], dtype=np.int64)
        self._before: dict[int, tuple[Readings, Qualities]] = {}
        clocks = clocks or {}
        _check(clocks)
        self._sources = [_Source(clocks.get(name, 0.0)) for name in SOURCES]

    def of(self, stretch: Stretch) -> Samples:
        """The samples that arrive in a stretch of seconds; stretches must follow one another.

        What a source holds back arrives in the first stretch with a second in which it does neither hold nor
        lose.
        """
        parts = [self._chosen(k, lot, stretch.seconds) for k, lot in enumerate(stretch.lots)]
        samples = parts[0] if len(parts) == 1 else _one(parts)
        upset = any(stretch.sources) or any(s.waiting or s.epoch or s.clock_s for s in self._sources)
        return self._through_sources(samples, stretch) if upset else samples

    def _chosen(self, number: int, lot: Lot, seconds: Sequence[int]) -> Samples:
        shown = lot.shown
        chosen = shown.present.copy()
        held = self._held[lot.columns]
        if held.any():
            chosen[:, held] &= self._changed(number, lot, held, seconds)
        # Tag by tag, in order of time.
        column, row = np.nonzero(chosen.T)
        late_ns = shown.late_ms[row, column] * _MS_NS
        return Samples(
            lot.columns[column],
            lot.time_ns[row] + late_ns,
            shown.value[row, column],
            shown.quality[row, column],
            np.zeros(len(row), dtype=np.int64),
            lot.second[row],
        )

    def _changed(self, number: int, lot: Lot, held: Mask, seconds: Sequence[int]) -> Mask:
        value, quality = lot.shown.value[:, held], lot.shown.quality[:, held]
        nothing = np.full_like(value[:1], np.nan), np.zeros_like(quality[:1])
        value_before, quality_before = self._before.get(number, nothing)
        self._before[number] = value[-1:], quality[-1:]
        changed: Mask = value != np.concatenate([value_before, value[:-1]])
        changed |= quality != np.concatenate([quality_before, quality[:-1]])
        if self._repeat_s is not None:
            whole = (np.asarray(seconds)[lot.second] % self._repeat_s == 0) & (lot.time_ns % NS == 0)
            changed[whole] = True
        return changed

    def _through_sources(self, samples: Samples, stretch: Stretch) -> Samples:
        for upset in stretch.sources:
            _check(upset)
        out = []
        places = self._place[samples.column]
        for place, name in enumerate(SOURCES):
            own = samples.where(places == place)
            upsets = [upset.get(name, _SOUND) for upset in stretch.sources]
            out += self._through(self._sources[place], own, upsets)
        joined = _one(out)
        order = np.lexsort((joined.time_ns, joined.epoch, joined.column))
        return joined.where(order)

    def _through(self, source: _Source, own: Samples, upsets: Sequence[SourceUpset]) -> list[Samples]:
        """What of its samples, and of those that wait, a source delivers in these seconds."""
        stamped = self._stamped(source, own, upsets)
        held = np.array([u.held for u in upsets])
        lost = np.array([u.lost for u in upsets])
        free = np.flatnonzero(~held & ~lost)
        last_free = int(free[-1]) if len(free) else -1
        stays = (held[stamped.second] & (stamped.second > last_free)) | lost[stamped.second]
        out = [stamped.where(~stays)]
        if last_free >= 0:
            out += source.waiting
            source.waiting = []
        left = stamped.where(stays & ~lost[stamped.second])
        if len(left):
            source.waiting.append(left.waiting())
        return out

    def _stamped(self, source: _Source, own: Samples, upsets: Sequence[SourceUpset]) -> Samples:
        clock_ns, epochs = [], []
        for upset in upsets:
            clock_s = source.ahead_s + upset.clock_s
            if abs(clock_s - source.clock_s) > STEP_S:
                source.epoch += 1
            source.clock_s = clock_s
            # Whole milliseconds, as a controller stamps.
            clock_ns.append(round(clock_s * 1000.0) * _MS_NS)
            epochs.append(source.epoch)
        return Samples(
            own.column,
            own.time_ns + np.array(clock_ns, dtype=np.int64)[own.second],
            own.value,
            own.quality,
            np.array(epochs, dtype=np.int64)[own.second],
            own.second,
        )


def _check(names: Iterable[str]) -> None:
    for name in names:
        if name not in SOURCES:
            raise WrongInput(f"the line has no source '{name}' of samples; it has {', '.join(SOURCES)}")


def _one(parts: Sequence[Samples]) -> Samples:
    return Samples(
        np.concatenate([p.column for p in parts]),
        np.concatenate([p.time_ns for p in parts]),
        np.concatenate([p.value for p in parts]),
        np.concatenate([p.quality for p in parts]),
        np.concatenate([p.epoch for p in parts]),
        np.concatenate([p.second for p in parts]),
    )
