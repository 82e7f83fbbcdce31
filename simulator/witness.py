"""When a fault can first be seen: the run beside a twin that has everything but this fault.

The twin is a fork of the run at the second before the onset, so it has the same scatter, the same operator
and all other faults. From then on both go in lockstep until a reading differs by more than its noise.
What acts on a sensor or on samples under way leaves the plant's readings as they are; there the difference
follows from the fault itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import exp, hypot
from typing import Any, Protocol, Self

from simulator.chance import BLOCK_STEPS, uniforms
from simulator.early_starts import EarlyStarts
from simulator.faults import FAULTS, FaultKind, FaultOrder, Moment, tags_of
from simulator.machines.upsets import SensorUpset, SourceUpset, Upsets
from simulator.sensors import Signal

# What lies within so many standard deviations is noise.
SIGMAS = 3.0
# A clock that is off by less hides behind the jitter of sampling.
CLOCK_SEEN_S = 0.2
# A noisy sensor that shows the same so many seconds long holds its value: where the noise is about the
# resolution, one in three samples repeats the one before by chance.
FLAT_S = 10.0
# A fault that has not been seen so long after its end never will be.
_AFTER_END_S = 600.0
# Drives at rest show no noise.
_AT_REST = 0.5


class Playing(Protocol):
    """A scenario under way."""

    @property
    def plant(self) -> Any:
        """The plant, for ``signals_of``."""

    @property
    def second(self) -> int:
        """The simulated second that it is at."""

    def advance(self, second: int) -> None:
        """Play on to that second."""

    def fork(self, without: str) -> Self:
        """The same run from here on, apart from this one, in which the fault of that id never comes."""


SignalsOf = Callable[[Any], Sequence[Signal]]


@dataclass(frozen=True, slots=True)
class _Pair:
    """One reading of the run and of its twin; the twin's is the run's own where there is no twin."""

    path: str
    read: Callable[[], float]
    twin: Callable[[], float]
    seen_above: float
    noisy: bool


@dataclass(slots=True)
class _Watch:
    """One fault that was not seen yet.

    Attributes:
        held: what each of its sensors showed last, before it failed, or shows now as it follows late.
    """

    order: FaultOrder
    kind: FaultKind
    pairs: list[_Pair]
    twin: Playing | None = None
    held: dict[str, float] = field(default_factory=dict)


class Witness:
    """Watches a run and notes when each of its faults could first be seen.

    Args:
        run: at its first second.
        orders: the run's faults.
        signals_of: reads a plant.
        afresh: the same run from second 0 without the fault of that id; for faults that are there at once.
        seed: of the random streams; decides which samples go missing.
        scatter: whether sensors have noise.
        starts: the starts that the scenario says come too early; None: none.

    Attributes:
        first_visible_s: id of a fault or a start → second, as far as played; what was not seen is not there.
    """

    def __init__(
        self,
        run: Playing,
        orders: Sequence[FaultOrder],
        *,
        signals_of: SignalsOf,
        afresh: Callable[[str], Playing],
        seed: int,
        scatter: bool,
        starts: EarlyStarts | None = None,
    ) -> None:
        self.run = run
        self.first_visible_s: dict[str, int] = {}
        self._signals_of = signals_of
        self._afresh = afresh
        self._seed = seed
        self._scatter = scatter
        self._coming = sorted(orders, key=lambda o: o.onset_s, reverse=True)
        self._watched: list[_Watch] = []
        self._starts = EarlyStarts(()) if starts is None else starts
        self.look()

    @property
    def waiting(self) -> bool:
        """Whether there is a fault or a start that was not seen, and may be."""
        return bool(self._coming or self._watched or self._starts.waiting)

    def advance(self, second: int) -> None:
        """Play the run on to that second, with a look at each."""
        while self.run.second < second:
            self.run.advance(self.run.second + 1)
            self.look()

    def look(self) -> None:
        """Look at the second that the run has just reached; none may be left out."""
        now = self.run.second
        if self._starts.waiting:
            self._starts.look(now, self.run.plant, self._signals_of)
            self.first_visible_s |= self._starts.seen
        if self._watched:
            self._watched = [watch for watch in self._watched if self._goes_on(watch, now)]
        while self._coming and self._coming[-1].onset_s <= now + 1:
            watch = self._begin(self._coming.pop(), now)
            if watch.order.onset_s > now or self._goes_on(watch, now):
                self._watched.append(watch)

    def _begin(self, order: FaultOrder, now: int) -> _Watch:
        kind = FAULTS[order.fault]
        plant = self.run.plant
        if kind.on_transport or kind.needs_tag:
            pairs = self._pairs(order, plant, plant)
            return _Watch(order, kind, pairs, held={p.path: p.read() for p in pairs})
        twin = self._afresh(order.id) if order.onset_s <= now else self.run.fork(order.id)
        twin.advance(now)
        pairs = self._pairs(order, plant, twin.plant)
        return _Watch(order, kind, pairs, twin, held={p.path: p.read() for p in pairs})

    def _pairs(self, order: FaultOrder, plant: Any, twin_plant: Any) -> list[_Pair]:
        signals = {s.path: s for s in self._signals_of(plant)}
        twins = signals if twin_plant is plant else {s.path: s for s in self._signals_of(twin_plant)}
        pairs = []
        for path in tags_of(order):
            signal = signals.get(path)
            if signal is not None:
                sensor, value = signal.sensor, signal.read()
                rests = sensor.quiet_at_rest and abs(value) <= _AT_REST
                noisy = self._scatter and sensor.sigma > 0.0 and not rests
                above = self._seen_above(signal, signals)
                pairs.append(_Pair(path, signal.read, twins[path].read, above, noisy))
        return pairs

    def _seen_above(self, signal: Signal, signals: dict[str, Signal]) -> float:
        """A difference of a reading that is larger than this can be seen."""
        parts = [signals[path] for path in signal.difference_of] if signal.difference_of else [signal]
        sigma = hypot(*(s.sensor.sigma for s in parts)) if self._scatter else 0.0
        steps = [10.0**-s.sensor.decimals for s in parts if s.sensor.decimals is not None]
        return max(SIGMAS * sigma, *steps, 0.0)

    def _goes_on(self, watch: _Watch, now: int) -> bool:
        """Whether there is still something to wait for, after a look."""
        order = watch.order
        if watch.twin is not None:
            watch.twin.advance(now)
        if now < order.onset_s:
            return True
        if self._is_seen(watch, now):
            self.first_visible_s[order.id] = now
            return False
        return order.end_s is None or now <= order.end_s + _AFTER_END_S

    def _is_seen(self, watch: _Watch, now: int) -> bool:
        if watch.twin is not None and any(abs(p.read() - p.twin()) > p.seen_above for p in watch.pairs):
            return True
        level = watch.kind.level(watch.order, now)
        if level <= 0.0:
            return False
        upsets = Upsets()
        watch.kind.act(upsets, Moment(watch.order, level, now - watch.order.onset_s))
        if any(_is_off(source) for source in upsets.sources.values()):
            return True
        return any(
            self._sensor_is_off(watch, pair, upsets.sensors[pair.path], now)
            for pair in watch.pairs
            if pair.path in upsets.sensors
        )

    def _sensor_is_off(self, watch: _Watch, pair: _Pair, upset: SensorUpset, now: int) -> bool:
        if upset.dead or self._misses(pair.path, upset.missing_share, now):
            return True
        real = pair.read()
        shown = real
        if upset.frozen:
            shown = watch.held[pair.path]
            if pair.noisy and now >= watch.order.onset_s + FLAT_S:
                return True
        elif upset.lag_s > 0.0:
            before = watch.held[pair.path]
            shown = watch.held[pair.path] = before + (real - before) * (1.0 - exp(-1.0 / upset.lag_s))
        return abs(upset.gain * shown + upset.offset - real) > pair.seen_above

    def _misses(self, path: str, share: float, now: int) -> bool:
        """Whether the sample of that second never comes; drawn as the instruments draw it."""
        if share <= 0.0:
            return False
        block, row = divmod(now, BLOCK_STEPS)
        return bool(uniforms(self._seed, f"{path}: upset", block)[row] < share)


def _is_off(source: SourceUpset) -> bool:
    return source.held or source.lost or abs(source.clock_s) > CLOCK_SEEN_S
