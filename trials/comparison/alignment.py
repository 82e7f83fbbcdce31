"""Traces of several sides on one axis: time since it ran steadily, melt through the screen, cleanings.

Gaps are not bridged: where nothing is known, nothing stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from process.cycles import Cycle
from rules.review import Window
from trials.comparison.side import Side
from trials.figures.pressures import DP, with_difference
from trials.figures.throughput import DOSER
from trials.figures.trace import NS, Trace, Traces
from trials.figures.weighting import LEAST_SHARE, apart

Floats = NDArray[np.float64]

_SECOND_NS = NS


class CycleValue(StrEnum):
    """What a cleaning tells."""

    PEAK = "peak_bar"
    TROUGH = "trough_bar"
    AMPLITUDE = "amplitude_bar"
    PERIOD = "period_s"
    INDEX = "trough_index"


@dataclass(frozen=True, slots=True)
class Aligned:
    """Several sides on one axis.

    Attributes:
        axis, unit: what the axis is, and its UCUM code.
        at: the middles of its steps, or numbers of cleanings, rising, shape (n,).
        values: one column a side, shape (n,); NaN where nothing is known, and beyond a side's end.
        remarks: what is not known, each a sentence.
    """

    axis: str
    unit: str
    at: Floats
    values: tuple[Floats, ...]
    remarks: tuple[str, ...] = ()


def by_time(sides: Sequence[Side], path: str, step_s: float = 60.0) -> Aligned:
    """A tag against the time since its side began to run steadily; only its steady time counts.

    Args:
        step_s: means are taken over so long, at least 1 s.
    """
    columns, remarks = [], []
    for side in sides:
        trace = _trace(side.traces, path)
        if trace is None or not side.windows:
            remarks.append(_none(side, path))
            columns.append(np.empty(0))
            continue
        columns.append(time_column(trace, side.windows, step_s))
    return _aligned("time since it ran steadily", "s", step_s, columns, remarks)


def by_throughput(sides: Sequence[Side], path: str, step_kg: float = 20.0) -> Aligned:
    """A tag against the melt that has passed the screen since its side began to run steadily.

    What passed while the feed was not known is not counted, and said.
    """
    columns, remarks = [], []
    for side in sides:
        trace, feed = _trace(side.traces, path), side.traces.get(DOSER)
        if trace is None or feed is None or not side.windows:
            remarks.append(_none(side, path if trace is None else DOSER))
            columns.append(np.empty(0))
            continue
        column, unknown_s = throughput_column(trace, feed, side.windows, step_kg)
        if unknown_s > 0:
            remarks.append(
                f"{side.name}: for {unknown_s / 60:.3g} min the feed is not known; what passed then is not "
                "counted."
            )
        columns.append(column)
    return _aligned("melt through the screen", "kg", step_kg, columns, remarks)


def by_cleaning(sides: Sequence[Side], value: CycleValue) -> Aligned:
    """What the cleanings tell against their number since the side began to run steadily.

    A cleaning that was not wholly seen keeps its number and has no value.
    """
    columns = [cleaning_column(s.cleanings, s.windows, value) for s in sides]
    remarks = [
        f"{side.name}: no cleaning lies in its time."
        for side, column in zip(sides, columns, strict=True)
        if len(column) == 0
    ]
    at = np.arange(1, max((len(c) for c in columns), default=0) + 1, dtype=np.float64)
    return Aligned("cleaning", "1", at, tuple(_filled(c, len(at)) for c in columns), tuple(remarks))


def time_column(trace: Trace, windows: Sequence[Window], step_s: float) -> Floats:
    """Means of a trace over steps of time from the first window's start; NaN with less than half known."""
    second_ns, steady = _seconds(windows)
    value = np.where(steady, trace.at(second_ns), np.nan)
    step = ((second_ns - second_ns[0]) / NS // max(step_s, 1.0)).astype(np.int64)
    return _means(step, value)


def throughput_column(
    trace: Trace, feed: Trace, windows: Sequence[Window], step_kg: float
) -> tuple[Floats, float]:
    """Means of a trace over steps of melt from the first window's start, and for how long the feed is not
    known, s. Melt counts outside of the windows too: it passes the screen; values do not.
    """
    second_ns, steady = _seconds(windows)
    rate = feed.at(second_ns)
    known = np.isfinite(rate)
    passed = np.cumsum(np.where(known, np.maximum(rate, 0.0), 0.0)) / 3600
    value = np.where(steady & known, trace.at(second_ns), np.nan)
    # The melt of the second itself has passed at its end.
    before = np.concatenate([[0.0], passed[:-1]])
    return _means((before / step_kg).astype(np.int64), value), float(np.sum(~known))


def cleaning_column(cycles: Sequence[Cycle], windows: Sequence[Window], value: CycleValue) -> Floats:
    """A value of each cleaning from the first window's start to the last one's end, in the order of time."""
    within = apart(windows)
    if not within:
        return np.empty(0)
    some = sorted(
        (c for c in cycles if within[0].start_ns <= c.start_ns < within[-1].end_ns), key=lambda c: c.start_ns
    )
    return np.array([float(getattr(c, value)) if c.complete else np.nan for c in some], dtype=np.float64)


def _seconds(windows: Sequence[Window]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """The middles of all seconds from the first window's start to the last one's end; which lie in one."""
    within = apart(windows)
    second_ns = np.arange(within[0].start_ns, within[-1].end_ns, _SECOND_NS, dtype=np.int64) + _SECOND_NS // 2
    starts = np.array([w.start_ns for w in within])
    ends = np.array([w.end_ns for w in within])
    place = np.maximum(np.searchsorted(starts, second_ns, side="right") - 1, 0)
    return second_ns, (second_ns >= starts[place]) & (second_ns < ends[place])


def _means(step: NDArray[np.int64], value: Floats) -> Floats:
    """Mean of the known values of each step; NaN where less than half of it is known."""
    known = np.isfinite(value)
    size = int(step[-1]) + 1 if len(step) else 0
    every = np.bincount(step, minlength=size)
    count = np.bincount(step[known], minlength=size)
    total = np.bincount(step[known], weights=value[known], minlength=size)
    enough = (count > 0) & (count >= LEAST_SHARE * every)
    return np.where(enough, total / np.maximum(count, 1), np.nan)


def _trace(traces: Traces, path: str) -> Trace | None:
    return with_difference(traces).get(path) if path == DP else traces.get(path)


def _none(side: Side, path: str) -> str:
    if not side.windows:
        return f"{side.name}: there is no steady time."
    return f"{side.name}: {path} is not recorded."


def _aligned(axis: str, unit: str, step: float, columns: Sequence[Floats], remarks: Sequence[str]) -> Aligned:
    count = max((len(c) for c in columns), default=0)
    at = (np.arange(count, dtype=np.float64) + 0.5) * (max(step, 1.0) if unit == "s" else step)
    return Aligned(axis, unit, at, tuple(_filled(c, count) for c in columns), tuple(remarks))


def _filled(column: Floats, count: int) -> Floats:
    return np.concatenate([column, np.full(count - len(column), np.nan)])
