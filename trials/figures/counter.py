"""What a counter or a scale has counted over some windows, and how fast."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot, isnan, sqrt

import numpy as np
from numpy.typing import NDArray

from process.statistics import median_and_sigma
from rules.review import Window
from trials.figures.measured import Measured, missing
from trials.figures.trace import NS, Trace, Traces
from trials.figures.weighting import NO_WINDOW, apart

LEAST_PIECE_S = 300.0
"""A shorter piece tells no rate. common practice, no source."""
RESET = 1.0
"""A counter that falls by so much was set back, or its bag was changed; by less, it is noise."""
LEAST_SHARE = 0.5
_END_SAMPLES, _END_S = 5, 15.0


@dataclass(frozen=True, slots=True)
class Gain:
    """What was counted between two readings.

    Attributes:
        amount, over_s: how much, and over which time.
        reading: standard uncertainty of the amount from reading it twice.
        known_s: how long its samples speak for.
    """

    amount: float
    over_s: float
    reading: float
    known_s: float


def rate_per_h(traces: Traces, path: str, windows: Sequence[Window], reset: float = RESET) -> Measured:
    """How fast a counter rose in the windows, its unit an hour.

    What was counted between the first and the last sample of a window is divided by the time between these
    two, not by the window: so neither what came before nor after it is counted. Where the counter was set
    back, the pieces on both sides are taken, and the step is not.

    Args:
        reset: a fall by so much, in the counter's unit, is a reset.
    """
    if not apart(windows):
        return missing(NO_WINDOW, path)
    trace = traces.get(path)
    if trace is None:
        return missing(f"{path} is not recorded", path)
    gains = [gain for window in apart(windows) for gain in _gains(trace, window, reset)]
    over_s = sum(g.over_s for g in gains)
    if not over_s > 0:
        return missing(
            f"{path} was not counted over {LEAST_PIECE_S / 60:g} minutes of the window on end", path
        )
    share = min(sum(g.known_s for g in gains) / sum(w.s for w in apart(windows)), 1.0)
    if share < LEAST_SHARE:
        return missing(f"{path} is known for {100 * share:.0f} % of the window only", path)
    amount = sum(g.amount for g in gains)
    if not amount >= 0:
        return missing(f"{path} fell in the window", path)
    per_h = 3600 / over_s
    parts = {} if trace.calibration is None else trace.calibration.gain_of(amount * per_h)
    parts[f"{path}, reading"] = hypot(*(g.reading for g in gains)) * per_h
    unknown = frozenset({path}) if trace.calibration is None else frozenset[str]()
    return Measured(amount * per_h, parts, unknown, (path,), share)


def gain_between(trace: Trace, start_ns: int, end_ns: int, reset: float = RESET) -> Gain | None:
    """What was counted from one time to another, by the samples that stand then; None when one is not known,
    or the counter was set back between them.
    """
    ends = np.array([start_ns, end_ns], dtype=np.int64)
    first, last = trace.at(ends)
    inside = (trace.time_ns >= start_ns) & (trace.time_ns <= end_ns) & ~np.isnan(trace.value)
    steps = np.diff(np.concatenate([[first], trace.value[inside], [last]]))
    if end_ns <= start_ns or np.isnan(steps).any() or (steps <= -reset).any():
        return None
    over_s = (end_ns - start_ns) / NS
    return Gain(float(last - first), over_s, sqrt(2) * _reading(trace.value[inside]), over_s)


def _gains(trace: Trace, window: Window, reset: float) -> Iterator[Gain]:
    first, last = np.searchsorted(trace.time_ns, [window.start_ns, window.end_ns])
    known = ~np.isnan(trace.value[first:last])
    times, values = trace.time_ns[first:last][known], trace.value[first:last][known]
    cuts = np.flatnonzero(np.diff(values) <= -reset) + 1
    for at, count in zip(np.split(times, cuts), np.split(values, cuts), strict=True):
        if len(at) < 2:
            continue
        # Medians of the times and of the values at both ends: one wild sample bends nothing. Of a counter
        # that is read once a minute they would leave out too much of a short window.
        close = min(np.sum(at - at[0] <= _END_S * NS), np.sum(at[-1] - at <= _END_S * NS))
        few = max(min(_END_SAMPLES, len(at) // 2, int(close)), 1)
        begin, end = (float(np.median(t - times[0])) for t in (at[:few], at[-few:]))
        over_s = (end - begin) / NS
        if over_s < LEAST_PIECE_S:
            continue
        amount = float(np.median(count[-few:]) - np.median(count[:few]))
        known_s = float(at[-1] - at[0] + np.median(np.diff(at))) / NS
        yield Gain(amount, over_s, sqrt(2) * _reading(count), known_s)


def _reading(values: NDArray[np.float64]) -> float:
    """Standard uncertainty of one reading: its noise, or its step where that is all there is."""
    _, noise = median_and_sigma(np.diff(values, 2) / sqrt(6))
    moves = np.abs(np.diff(values))
    moves = moves[moves > 0]
    step = float(moves.min()) / sqrt(12) if len(moves) else 0.0
    return step if isnan(noise) else max(noise, step)
