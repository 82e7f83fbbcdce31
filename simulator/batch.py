"""Plays a scenario as fast as it goes, into frames as the edge would have got them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np

from historian.catalogue import meaning_of
from historian.errors import UnknownTag, WrongInput
from historian.frame import NS, Frame, Qualities
from historian.quality import RANGE_EXCEEDED, is_bad, is_good
from historian.tags import Tag
from simulator.course import Run
from simulator.delivery import Delivery, Samples
from simulator.plant import FAST_STEP_S
from simulator.recorder import Recorder
from simulator.scenarios.scenario import Scenario

_REPEAT_S = 60
_MS_NS = 1_000_000


def batch(
    scenario: Scenario,
    tags: Mapping[str, Tag],
    t0_ns: int,
    start_s: int = 0,
    end_s: int | None = None,
    period_s: int = 1,
    chunk_s: int = 60,
    *,
    aux_channels: int = 0,
    fast_hz: float | None = None,
    arrival_ns: Callable[[int], int] | None = None,
) -> Iterator[Frame]:
    """Plays the scenario as fast as it goes and gives its samples in frames of ``chunk_s`` seconds.

    Measured values come every ``period_s``; set-points, states and counters at the start, when they change,
    and once a minute. What a source holds back comes with the frame in which it is let go; what it still
    holds at the end does not come. A source whose clock has stepped has frames of its own, of a later clock
    epoch, that arrive together with the others'.

    Args:
        tags: the store's tags by path; every published path must be among them.
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
        start_s, end_s: first second, and the one after the last; None: the scenario's duration.
        fast_hz: rate of pressures, torques and the wiper's angle, 5 or 2.5; None: like all others.
        arrival_ns: arrival of a frame from the time of its last second; None: when the last sample of that
            second was taken at the latest.

    Raises:
        UnknownTag: a published path has no tag.
        WrongInput: a period or a chunk that is not a whole number of seconds above zero, or an odd rate.
    """
    if period_s < 1 or chunk_s < period_s or int(period_s) != period_s or int(chunk_s) != chunk_s:
        raise WrongInput("period_s and chunk_s are whole seconds, the chunk not shorter than the period")
    if fast_hz is not None and period_s != 1:
        raise WrongInput(
            f"fast_hz {fast_hz:g} with a period of {period_s} s: the rest must come every second"
        )
    last = int(scenario.duration_s) if end_s is None else end_s
    run = Run(scenario) if fast_hz is None else Run(scenario, dt_s=FAST_STEP_S)
    recorder = Recorder(run, aux_channels=aux_channels, fast_hz=fast_hz)
    missing = [p for p in recorder.paths if p not in tags]
    if missing:
        raise UnknownTag(
            f"the store has no tag for {missing[0]} and {len(missing) - 1} more: register them first"
        )
    edge = _Edge(recorder, tags, t0_ns)
    delivery = Delivery(recorder.held, recorder.sources, repeat_s=_REPEAT_S, clocks=recorder.clocks)
    for first in range(start_s, last, chunk_s):
        seconds = range(first, min(first + chunk_s, last), period_s)
        newest = t0_ns + seconds[-1] * NS
        came = newest + recorder.latest_ms * _MS_NS if arrival_ns is None else arrival_ns(newest)
        yield from edge.frames(delivery.of(recorder.take(seconds)), came)


class _Edge:
    """Makes frames of samples as the edge does: no value where it is bad, uncertain beyond the range."""

    def __init__(self, recorder: Recorder, tags: Mapping[str, Tag], t0_ns: int) -> None:
        self._t0_ns = t0_ns
        self._ids = np.array([tags[p].id for p in recorder.paths], dtype=np.int32)
        meanings = [meaning_of(p) for p in recorder.paths]
        self._low = np.array([-np.inf if m is None else m.low for m in meanings])
        self._high = np.array([np.inf if m is None else m.high for m in meanings])

    def frames(self, samples: Samples, arrival_ns: int) -> Iterator[Frame]:
        """A frame for each clock epoch among the samples, in their order; one at least."""
        if not samples.epoch.any():
            yield self._frame(samples, arrival_ns, 0)
            return
        for epoch in np.unique(samples.epoch).tolist():
            yield self._frame(samples.where(samples.epoch == epoch), arrival_ns, epoch)

    def _frame(self, samples: Samples, arrival_ns: int, epoch: int) -> Frame:
        column, quality = samples.column, self._judged(samples)
        value = np.where(is_bad(quality), np.nan, samples.value)
        return Frame.of(
            self._ids[column],
            self._t0_ns + samples.time_ns,
            value,
            quality,
            arrival_ns=arrival_ns,
            clock_epoch=epoch,
        )

    def _judged(self, samples: Samples) -> Qualities:
        value, column = samples.value, samples.column
        outside = (value < self._low[column]) | (value > self._high[column])
        if not outside.any():
            return samples.quality
        return np.where(outside & is_good(samples.quality), np.uint32(RANGE_EXCEEDED), samples.quality)
