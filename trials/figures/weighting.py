"""Means, percentiles and extremes of a trace over windows: by time, and gaps are not counted."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import nan, sqrt

import numpy as np
from numpy.typing import NDArray

from rules.review import Spell, Window
from rules.review.spells import union
from trials.figures.measured import Measured, missing
from trials.figures.trace import NS, Trace, Traces

LEAST_SHARE = 0.5
"""With less of the time known there is no figure. common practice, no source."""
_BATCHES = 10
_LEAST_SAMPLES = 3
NO_WINDOW = "there is no window to look at"


@dataclass(frozen=True, slots=True)
class Held:
    """The known samples of a trace in some windows.

    Attributes:
        value: shape (n,).
        weight_s: how long each speaks within the windows, shape (n,).
        share: how much of the windows they speak for, 0 to 1.
    """

    value: NDArray[np.float64]
    weight_s: NDArray[np.float64]
    share: float

    @property
    def mean(self) -> float:
        """Mean by time; NaN without samples."""
        whole = float(self.weight_s.sum())
        return float(np.dot(self.value, self.weight_s)) / whole if whole > 0 else nan

    @property
    def sd(self) -> float:
        """Standard deviation by time; NaN without samples."""
        whole = float(self.weight_s.sum())
        if not whole > 0:
            return nan
        return sqrt(float(np.dot((self.value - self.mean) ** 2, self.weight_s)) / whole)

    def percentile(self, percent: float) -> float:
        """The smallest value that so much of the time lies at or below; NaN without samples."""
        if not self.weight_s.sum() > 0:
            return nan
        order = np.argsort(self.value, kind="stable")
        reached = np.cumsum(self.weight_s[order])
        at = int(np.searchsorted(reached, percent / 100 * reached[-1] * (1 - 1e-12)))
        return float(self.value[order][min(at, len(order) - 1)])

    def scatter_of(self, statistic: Callable[[Held], float]) -> float:
        """Standard uncertainty of a statistic from what it is in ten batches of equal time, which samples
        that follow one another do not make too small; NaN with fewer than three samples.

        Source: method of batch means, e.g. A. M. Law, Simulation Modeling and Analysis, ch. 9.
        """
        if len(self.value) < _LEAST_SAMPLES:
            return nan
        batches = min(_BATCHES, len(self.value))
        middle = np.cumsum(self.weight_s) - self.weight_s / 2
        cuts = np.searchsorted(middle, float(self.weight_s.sum()) * np.arange(batches + 1) / batches)
        parts = [Held(self.value[a:b], self.weight_s[a:b], 1.0) for a, b in pairwise(cuts) if b > a]
        each = [statistic(part) for part in parts]
        return float(np.std(each, ddof=1)) / sqrt(len(each)) if len(each) > 1 else nan


def apart(windows: Iterable[Window]) -> tuple[Window, ...]:
    """The same time as windows apart from one another, in order; empty ones are dropped."""
    spells = [Spell(w.start_ns, w.end_ns) for w in windows if w.end_ns > w.start_ns]
    return tuple(Window(s.start_ns, s.until(s.start_ns)) for s in union(spells, 0))


def held(trace: Trace, windows: Sequence[Window]) -> Held:
    """The known samples of a trace in the windows, each with how long it speaks.

    A sample speaks until the next one, whatever that is, at most as long as it is held, and not beyond the
    window. One from before the window speaks into it.
    """
    whole_s = sum(w.s for w in apart(windows))
    ends = trace.time_ns + int(trace.hold_s * NS)
    if len(ends):
        ends[:-1] = np.minimum(ends[:-1], trace.time_ns[1:])
    values, weights = [], []
    for window in apart(windows):
        first = max(int(np.searchsorted(trace.time_ns, window.start_ns, side="right")) - 1, 0)
        last = int(np.searchsorted(trace.time_ns, window.end_ns))
        begin = np.maximum(trace.time_ns[first:last], window.start_ns)
        weight = (np.minimum(ends[first:last], window.end_ns) - begin) / NS
        value = trace.value[first:last]
        counts = (weight > 0) & ~np.isnan(value)
        values.append(value[counts])
        weights.append(weight[counts])
    if not values:
        return Held(np.empty(0), np.empty(0), 0.0)
    weight_s = np.concatenate(weights)
    return Held(np.concatenate(values), weight_s, float(weight_s.sum()) / whole_s)


def why_not(traces: Traces, path: str, windows: Sequence[Window]) -> str:
    """Why a tag gives no figure over the windows; empty when it does."""
    if not apart(windows):
        return NO_WINDOW
    trace = traces.get(path)
    if trace is None:
        return f"{path} is not recorded"
    found = held(trace, windows)
    if len(found.value) == 0:
        return f"{path} has no good sample in the window"
    if found.share < LEAST_SHARE:
        return f"{path} is known for {100 * found.share:.0f} % of the window only"
    if len(found.value) < _LEAST_SAMPLES:
        return f"{path} has {len(found.value)} good samples in the window only"
    return ""


def mean(traces: Traces, path: str, windows: Sequence[Window]) -> Measured:
    """Mean by time, with its scatter and what the sensor brings."""
    return _statistic(traces, path, windows, "mean", lambda one: one.mean)


def percentile(traces: Traces, path: str, windows: Sequence[Window], percent: float) -> Measured:
    """The value that so much of the time lies at or below, with its scatter and what the sensor brings."""
    return _statistic(traces, path, windows, f"P{percent:g}", lambda one: one.percentile(percent))


def maximum(traces: Traces, path: str, windows: Sequence[Window]) -> Measured:
    """The highest sample, with what the sensor brings."""
    return _statistic(traces, path, windows, "", lambda one: one.percentile(100.0))


def _statistic(
    traces: Traces, path: str, windows: Sequence[Window], kind: str, statistic: Callable[[Held], float]
) -> Measured:
    """A statistic of a tag over the windows; without a kind, one that has no scatter."""
    why = why_not(traces, path, windows)
    if why:
        return missing(why, path)
    trace, found = traces[path], held(traces[path], windows)
    value = statistic(found)
    unknown = frozenset(trace.tags) if trace.calibration is None else frozenset[str]()
    parts = {} if trace.calibration is None else trace.calibration.parts_at(value)
    if kind:
        parts[f"{path}, scatter of the {kind}"] = found.scatter_of(statistic)
    return Measured(value, parts, unknown, trace.tags, min(found.share, 1.0))
