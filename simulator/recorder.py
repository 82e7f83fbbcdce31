"""Reads a run's signals at their times, as the line's instruments show them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from historian.errors import WrongInput
from historian.frame import NS, Times
from historian.tags import Tag
from simulator.course import Run
from simulator.gauges import signals_of, tag_of
from simulator.instruments import Instruments, Shown
from simulator.machines.upsets import SensorUpset, SourceUpset
from simulator.plant import FAST_STEP_S
from simulator.scenarios.scenario import Scenario
from simulator.sensors import Readings, Signal, source_of
from simulator.sensors.kinds import varied

SOURCE = "simulated-line"

# Long stretches are read in pieces, so that memory does not grow with them.
_PIECE_S = 512
_FAST_STEPS = {5.0: 1, 2.5: 2}
_NOTHING: Mapping[str, SourceUpset] = {}


@dataclass(frozen=True, slots=True)
class Lot:
    """What signals of one sampling rate show in a stretch of time.

    Attributes:
        columns: their places in the recorder's order, shape (signals,).
        time_ns: nominal time from second 0, shape (samples,).
        second: row of each sample's second in the stretch, shape (samples,).
        shown: what the sensors show, arrays of shape (samples, signals).
    """

    columns: NDArray[np.int64]
    time_ns: Times
    second: NDArray[np.int64]
    shown: Shown


@dataclass(frozen=True, slots=True)
class Stretch:
    """What all signals show in some seconds.

    Attributes:
        seconds: which, rising.
        lots: what is read once a second, then what is read faster, if anything is.
        sources: what was wrong with which source in each of the seconds.
    """

    seconds: tuple[int, ...]
    lots: tuple[Lot, ...]
    sources: tuple[Mapping[str, SourceUpset], ...]


class Recorder:
    """Reads the run's signals as its sensors show them.

    Args:
        run: what is read; the recorder moves it on.
        aux_channels: made-up channels beside the line's, for a load.
        fast_hz: rate of pressures, torques and the wiper's angle, 5 or 2.5; None: like the rest.
        each_second: called whenever the run has been read at a whole second.

    Attributes:
        paths: path of each signal, in the order of the columns.
        held: which of them hold until they change (set-points, states, counters), shape (signals,).
        sources: name of the source that each comes from.
        clocks: how far the clock of a source is ahead from the start, s.
        latest_ms: how long after its nominal time a sample may be taken.

    Raises:
        WrongInput: for a rate that the steps of the run's plant do not give.
    """

    def __init__(
        self,
        run: Run,
        *,
        aux_channels: int = 0,
        fast_hz: float | None = None,
        each_second: Callable[[], None] | None = None,
    ) -> None:
        self.run = run
        self._each_second = each_second
        signals = _as_built(signals_of(run.plant, aux_channels), run.scenario)
        self.paths = [s.path for s in signals]
        self.held = np.array([tag_of(p, SOURCE).holds for p in self.paths], dtype=bool)
        self.sources = [source_of(p) for p in self.paths]
        self.clocks = {s.name: s.clock_s for s in run.scenario.sources}
        scatter = run.scenario.scatter
        self.latest_ms = round(2000.0 * max(s.sensor.jitter_s for s in signals)) if scatter else 0
        every = _steps_between(run, fast_hz)
        fast = [k for k, s in enumerate(signals) if every and s.sensor.fast]
        slow = sorted(set(range(len(signals))) - set(fast))
        per_second = run.ticks_a_second
        self._readers = [_Reader(run, signals, slow, per_second)]
        if fast:
            self._readers.append(_Reader(run, signals, fast, every))
        self._read_to: int | None = None

    def record(self, seconds: Sequence[int]) -> Readings:
        """The newest values that the sensors show at those rising seconds, shape (seconds, signals)."""
        stretch = self.take(seconds)
        values = np.empty((len(stretch.seconds), len(self.paths)))
        for lot in stretch.lots:
            newest = np.searchsorted(lot.second, np.arange(len(values)), side="right") - 1
            values[:, lot.columns] = lot.shown.value[newest]
        return values

    def advance(self, second: int) -> None:
        """Go on to that second; what nobody sees of it still moves lags and holds frozen values."""
        while (first := self._next()) < second:
            self._read(range(first, min(first + _PIECE_S, second)))

    def take(self, seconds: Sequence[int]) -> Stretch:
        """What the sensors show at those rising seconds.

        What lies between them is read too and left out, so a longer period thins the samples and changes
        none. Samples of a fast rate belong to the whole second that follows them.

        Raises:
            WrongInput: for seconds that lie behind.
        """
        wanted = np.asarray(seconds, dtype=np.int64)
        if len(wanted) == 0 or wanted[0] < self._next() or (np.diff(wanted) < 1).any():
            raise WrongInput(
                f"the recorder is at second {self._next()}: it reads rising seconds from there on, "
                f"not {seconds[:3]!r}"
            )
        self.advance(int(wanted[0]))
        parts = []
        first, last = int(wanted[0]), int(wanted[-1])
        for begin in range(first, last + 1, _PIECE_S):
            end = min(begin + _PIECE_S, last + 1)
            parts.append(_thinned(self._read(range(begin, end)), wanted[(wanted >= begin) & (wanted < end)]))
        return parts[0] if len(parts) == 1 else _joined(parts)

    def _next(self) -> int:
        """The first second that can be read and was not yet."""
        return self.run.second if self._read_to is None else max(self.run.second, self._read_to + 1)

    def _read(self, seconds: range) -> Stretch:
        """Every second of a range that follows on what was read before."""
        run, plant = self.run, self.run.plant
        sources: list[Mapping[str, SourceUpset]] = []
        for row, second in enumerate(seconds):
            end = second * run.ticks_a_second
            # Only the first second of all may have been reached already, and then unread.
            if plant.tick == end:
                self._look(row)
            while plant.tick < end:
                run.step()
                if plant.tick > end - run.ticks_a_second:
                    self._look(row)
            if self._each_second is not None:
                self._each_second()
            upset = plant.upsets.sources
            sources.append({name: copy(u) for name, u in upset.items()} if upset else _NOTHING)
        self._read_to = seconds[-1]
        return Stretch(tuple(seconds), tuple(r.lot() for r in self._readers), tuple(sources))

    def _look(self, row: int) -> None:
        tick = self.run.plant.tick
        for reader in self._readers:
            if tick % reader.every == 0:
                reader.look(tick, row)


class _Reader:
    """Signals of one rate: collects readings, then shows them as one lot."""

    def __init__(self, run: Run, signals: Sequence[Signal], columns: Sequence[int], every: int) -> None:
        chosen = [signals[k] for k in columns]
        scenario = run.scenario
        self.every = every
        self._run = run
        self._columns = np.array(columns, dtype=np.int64)
        self._read = [s.read for s in chosen]
        self._places = {s.path: k for k, s in enumerate(chosen)}
        self._unrest = {k: s.unrest for k, s in enumerate(chosen) if s.unrest is not None}
        self._instruments = Instruments(
            chosen,
            seed=scenario.seed,
            scatter=scenario.scatter,
            step_s=every / run.ticks_a_second,
        )
        self._clear()

    def _clear(self) -> None:
        self._ticks: list[int] = []
        self._second: list[int] = []
        self._rows: list[list[float]] = []
        self._upset: dict[int, list[tuple[int, SensorUpset]]] = {}
        self._factors: dict[int, list[float]] = {k: [] for k in self._unrest}

    def look(self, tick: int, second: int) -> None:
        """Read the plant as it is now."""
        upsets = self._run.plant.upsets.sensors
        if upsets:
            for path, upset in upsets.items():
                place = self._places.get(path)
                if place is not None:
                    # Who wrote the upset may write it on.
                    self._upset.setdefault(place, []).append((len(self._rows), copy(upset)))
        self._ticks.append(tick)
        self._second.append(second)
        self._rows.append([read() for read in self._read])
        for place, unrest in self._unrest.items():
            self._factors[place].append(unrest())

    def lot(self) -> Lot:
        """What was read since the last lot, as the sensors show it."""
        ticks = np.array(self._ticks, dtype=np.int64)
        indices = (ticks // self.every).tolist()
        shown = self._instruments.take(
            indices, np.array(self._rows, dtype=np.float64), self._upset, self._factors
        )
        second = np.array(self._second, dtype=np.int64)
        lot = Lot(self._columns, ticks * (NS // self._run.ticks_a_second), second, shown)
        self._clear()
        return lot


def published_tags(scenario: Scenario, *, source: str = SOURCE, aux_channels: int = 0) -> list[Tag]:
    """The tags that the simulated line publishes, without store numbers."""
    return [tag_of(s.path, source) for s in signals_of(Run(scenario).plant, aux_channels)]


def _as_built(signals: Sequence[Signal], scenario: Scenario) -> list[Signal]:
    """The signals with the sensors of this very line, which may differ from the usual ones."""
    given = scenario.variation
    return varied(
        signals,
        noise=given.get("noise", 1.0),
        jitter_s=given.get("sampling.jitter_s"),
        missing_share=given.get("sampling.missing_share"),
        temperature_s=round(given.get("sampling.period_s", 1.0)),
    )


def _steps_between(run: Run, fast_hz: float | None) -> int:
    """Steps of the plant between two fast samples; 0: nothing is read fast."""
    if fast_hz is None:
        return 0
    steps = _FAST_STEPS.get(fast_hz)
    if steps is None or run.ticks_a_second != round(1.0 / FAST_STEP_S):
        raise WrongInput(
            f"a fast rate of {fast_hz:g} Hz at {run.ticks_a_second} steps a second: say 5 or 2.5 Hz, and let "
            f"the plant go in steps of {FAST_STEP_S:g} s"
        )
    return steps


def _thinned(stretch: Stretch, wanted: NDArray[np.int64]) -> Stretch:
    if len(wanted) == len(stretch.seconds):
        return stretch
    rows = wanted - stretch.seconds[0]
    place = np.full(len(stretch.seconds), -1, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    lots = []
    for lot in stretch.lots:
        kept = place[lot.second] >= 0
        lots.append(Lot(lot.columns, lot.time_ns[kept], place[lot.second[kept]], _rows_of(lot.shown, kept)))
    return Stretch(tuple(wanted.tolist()), tuple(lots), tuple(stretch.sources[r] for r in rows.tolist()))


def _rows_of(shown: Shown, kept: NDArray[np.bool_]) -> Shown:
    return Shown(shown.value[kept], shown.quality[kept], shown.present[kept], shown.late_ms[kept])


def _joined(parts: Sequence[Stretch]) -> Stretch:
    """Stretches that follow one another as one; those without a second fall out."""
    before = np.cumsum([0, *[len(p.seconds) for p in parts]])
    lots = []
    for same in zip(*(p.lots for p in parts), strict=True):
        shown = [lot.shown for lot in same]
        lots.append(
            Lot(
                same[0].columns,
                np.concatenate([lot.time_ns for lot in same]),
                np.concatenate([lot.second + before[k] for k, lot in enumerate(same)]),
                Shown(
                    np.concatenate([s.value for s in shown]),
                    np.concatenate([s.quality for s in shown]),
                    np.concatenate([s.present for s in shown]),
                    np.concatenate([s.late_ms for s in shown]),
                ),
            )
        )
    return Stretch(
        tuple(second for p in parts for second in p.seconds),
        tuple(lots),
        tuple(upset for p in parts for upset in p.sources),
    )
