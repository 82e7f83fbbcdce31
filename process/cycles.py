"""Cleaning cycles of a melt filter: when the wiper ran, and the pressure difference before and after it.

Peak: median of the last 6 s before the wipe. Trough: median from 3 s to 8 s after it.
common practice, no source: both windows.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan, nan
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import NDArray

from process.screen import pressure_index

NS = 1_000_000_000
PEAK_NS = 6 * NS
SETTLE_NS = 3 * NS
TROUGH_END_NS = 8 * NS
WIPING = 1.0
FAULT = 3.0
LEAST_SAMPLES = 2


@dataclass(frozen=True, slots=True)
class Cycle:
    """One cleaning.

    Attributes:
        start_ns, end_ns: when the wiper started and stopped, UTC nanoseconds.
        peak_bar, trough_bar: pressure difference before and after it; NaN when not known.
        period_s: from the start of the cleaning before; NaN for the first one and after a gap in the data.
        die_bar: die pressure while the trough was taken; NaN when not known.
        growth_bar_s: how fast the pressure difference rose since the cleaning before; NaN as with the period.
        flaw: why the cycle is incomplete; empty when it is complete.
    """

    start_ns: int
    end_ns: int
    peak_bar: float
    trough_bar: float
    period_s: float = nan
    die_bar: float = nan
    growth_bar_s: float = nan
    flaw: str = ""

    @property
    def complete(self) -> bool:
        """Whether start, end, peak and trough were all seen."""
        return not self.flaw

    @property
    def amplitude_bar(self) -> float:
        """How far the cleaning brought the pressure down."""
        return self.peak_bar - self.trough_bar

    @property
    def trough_index(self) -> float:
        """J after the cleaning; NaN without die pressure."""
        return pressure_index(self.trough_bar, self.die_bar)

    @property
    def bare_trough_bar(self) -> float:
        """The trough less what was laid on the screen since the wiper started; NaN without growth.

        Dirt that comes during the wipe and until the trough is taken lies on the screen then, so a dirtier
        bale lifts the trough though it blinds nothing. Derived here, from even growth; it takes off somewhat
        too much where the wiper still catches part of what comes during the wipe.
        """
        laid_s = (self.end_ns - self.start_ns + (SETTLE_NS + TROUGH_END_NS) // 2) / NS
        return self.trough_bar - self.growth_bar_s * laid_s

    @property
    def bare_index(self) -> float:
        """J of the bare trough; NaN without die pressure or growth."""
        return pressure_index(self.bare_trough_bar, self.die_bar)

    def effectiveness(self, clean_bar: float) -> float:
        """Share of the removable pressure difference that the cleaning removed; NaN under 5 bar of it.

        Args:
            clean_bar: pressure difference over the clean screen at this operating point.

        Example:
            >>> round(Cycle(0, 1, peak_bar=45.6, trough_bar=24.1).effectiveness(20.0), 3)
            0.84
        """
        removable = self.peak_bar - clean_bar
        return self.amplitude_bar / removable if removable >= 5 else nan


class CycleTracker:
    """Finds cleanings in rows of samples, one row after the other.

    Args:
        gap_s: a longer pause between rows is a gap: what fell into it is not known.
    """

    def __init__(self, gap_s: float = 5.0) -> None:
        self._gap_ns = int(gap_s * NS)
        self._time: int | None = None
        self._before: deque[tuple[int, float]] = deque()
        self._after: list[tuple[float, float]] = []
        self._start: int | None = None  # of the cleaning under way or just settling
        self._end: int | None = None  # of the cleaning just settling
        self._peak = nan
        self._period_s = self._growth_bar_s = nan
        self._trough: tuple[int, float] | None = None  # of the cleaning before: when it ended, and its trough
        self._flaw = ""
        self._last_start: int | None = None
        self._unbroken = False  # every row since _last_start was known

    def push(self, time_ns: int, dp_bar: float, wiper: float, die_bar: float = nan) -> Cycle | None:
        """Take one row; gives a cleaning once its trough is known.

        Args:
            time_ns: rising from row to row.
            dp_bar, die_bar: NaN when bad or unknown.
            wiper: 0 parked, 1 wiping, 2 jogging, 3 fault; NaN when unknown.
        """
        gap = self._time is not None and time_ns - self._time > self._gap_ns
        first = self._time is None
        self._time = time_ns
        unknown = isnan(wiper)
        if gap or unknown:
            self._unbroken = False
            if self._start is not None and not self._flaw:
                self._flaw = "the wiper's state was not known throughout"
        if self._start is not None and self._end is None:
            self._while_wiping(time_ns, wiper)
            return None
        done = self._while_settling(time_ns, dp_bar, wiper, die_bar) if self._end is not None else None
        if wiper == WIPING:
            self._begin(time_ns, "its start was not seen" if first or gap or not self._before else "")
        else:
            self._remember(time_ns, dp_bar, known=not unknown)
        return done

    def _while_wiping(self, time_ns: int, wiper: float) -> None:
        if wiper == WIPING or isnan(wiper):
            return
        self._end = time_ns
        self._after = []
        if wiper == FAULT and not self._flaw:
            self._flaw = "the wiper reported a fault"

    def _while_settling(self, time_ns: int, dp_bar: float, wiper: float, die_bar: float) -> Cycle | None:
        end = self._end if self._end is not None else time_ns
        if time_ns <= end + TROUGH_END_NS and wiper != WIPING:
            if time_ns >= end + SETTLE_NS:
                self._after.append((dp_bar, die_bar))
            return None
        if time_ns <= end + TROUGH_END_NS and not self._flaw:
            self._flaw = "the next cleaning came before the pressure settled"
        return self._finish()

    def _begin(self, time_ns: int, flaw: str) -> None:
        peaks = [v for t, v in self._before if t >= time_ns - PEAK_NS]
        self._peak, few = _median_of(peaks)
        self._flaw = flaw or ("the pressure before it was not known" if few else "")
        seen = self._last_start if self._unbroken and not flaw else None
        self._period_s = nan if seen is None else (time_ns - seen) / NS
        self._growth_bar_s = nan
        if seen is not None and self._trough is not None:
            rise_ns = time_ns - PEAK_NS // 2 - self._trough[0] - (SETTLE_NS + TROUGH_END_NS) // 2
            self._growth_bar_s = (self._peak - self._trough[1]) * NS / rise_ns if rise_ns > 0 else nan
        self._last_start, self._unbroken = time_ns, not flaw
        self._start, self._end = time_ns, None
        self._before.clear()

    def _finish(self) -> Cycle:
        start = self._start if self._start is not None else 0
        end = self._end if self._end is not None else start
        trough, few = _median_of([dp for dp, _ in self._after])
        die, _ = _median_of([die for _, die in self._after])
        flaw = self._flaw or ("the pressure after it was not known" if few else "")
        self._start = self._end = None
        self._after = []
        self._flaw = ""
        self._trough = (end, trough)
        return Cycle(start, end, self._peak, trough, self._period_s, die, self._growth_bar_s, flaw)

    def _remember(self, time_ns: int, dp_bar: float, *, known: bool) -> None:
        if not known:
            self._before.clear()
            return
        self._before.append((time_ns, dp_bar))
        while self._before[0][0] < time_ns - PEAK_NS:
            self._before.popleft()

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "time": self._time,
            "before": [[t, _or_none(v)] for t, v in self._before],
            "after": [[_or_none(a), _or_none(b)] for a, b in self._after],
            "start": self._start,
            "end": self._end,
            "peak": _or_none(self._peak),
            "period_s": _or_none(self._period_s),
            "growth_bar_s": _or_none(self._growth_bar_s),
            "trough": None if self._trough is None else [self._trough[0], _or_none(self._trough[1])],
            "flaw": self._flaw,
            "last_start": self._last_start,
            "unbroken": self._unbroken,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._time = state["time"]
        self._before = deque((t, _or_nan(v)) for t, v in state["before"])
        self._after = [(_or_nan(a), _or_nan(b)) for a, b in state["after"]]
        self._start, self._end = state["start"], state["end"]
        self._peak, self._period_s = _or_nan(state["peak"]), _or_nan(state["period_s"])
        self._growth_bar_s = _or_nan(state["growth_bar_s"])
        before = state["trough"]
        self._trough = None if before is None else (before[0], _or_nan(before[1]))
        self._flaw = state["flaw"]
        self._last_start, self._unbroken = state["last_start"], state["unbroken"]


def cycles_of(
    time_ns: NDArray[np.int64],
    dp_bar: NDArray[np.float64],
    wiper: NDArray[np.float64],
    die_bar: NDArray[np.float64] | None = None,
) -> list[Cycle]:
    """All cleanings in arrays that share one time axis, rising; NaN where a value is bad or unknown.

    A cleaning whose trough lies after the end of the arrays is left out.
    """
    tracker = CycleTracker()
    die = np.full(len(time_ns), nan) if die_bar is None else die_bar
    rows = zip(time_ns.tolist(), dp_bar.tolist(), wiper.tolist(), die.tolist(), strict=True)
    found = (tracker.push(t, p, w, d) for t, p, w, d in rows)
    return [c for c in found if c is not None]


def _median_of(values: list[float]) -> tuple[float, bool]:
    """Median of the known values, and whether they are too few to be trusted."""
    known = [v for v in values if not isnan(v)]
    few = len(known) < LEAST_SAMPLES or 2 * len(known) < len(values)
    return (median(known) if known else nan), few


def _or_none(value: float) -> float | None:
    return None if isnan(value) else value


def _or_nan(value: float | None) -> float:
    return nan if value is None else value
