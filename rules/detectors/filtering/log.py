"""Cleanings with what the wiper and the discharge showed in them."""

from __future__ import annotations

from collections import deque
from dataclasses import astuple, dataclass
from math import isnan, nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from process.cycles import WIPING, Cycle
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S

TORQUE = "filter.wiper.torque.pv"
WEIGHT = "filter.discharge.weight.total"

_KEPT_S = 300.0
_INRUSH_S = 1.0
_ENDLESS = 60  # tens of seconds without a stop
_STANDS_FOR = 12


@dataclass(frozen=True, slots=True)
class Cleaning:
    """One cleaning.

    Attributes:
        start_ns, end_ns: when the wiper started and stopped.
        period_s: since the start of the one before; NaN after a gap.
        peak_bar, trough_bar: pressure difference before and after it.
        index: J after it, less what was laid on meanwhile; the pressure itself without die pressure.
        die_bar: die pressure after it.
        torque_percent: mean torque of the wiper while it ran.
        discharged_kg: from its start until its trough was taken.
        settled: melt had run for ten minutes, and nothing had been set for three.
    """

    start_ns: int
    end_ns: int
    period_s: float
    peak_bar: float
    trough_bar: float
    index: float
    die_bar: float
    torque_percent: float
    discharged_kg: float
    settled: bool

    @property
    def amplitude_bar(self) -> float:
        """How far it brought the pressure difference down."""
        return self.peak_bar - self.trough_bar

    @property
    def laid_bar_s(self) -> float:
        """How fast dirt had lifted the pressure difference, on average; NaN when not known."""
        return self.amplitude_bar / self.period_s if self.period_s > 0 else nan

    def to_json(self) -> list[Any]:
        """As JSON types (NaN as null)."""
        return [None if isinstance(v, float) and isnan(v) else v for v in astuple(self)]

    @classmethod
    def from_json(cls, saved: list[Any]) -> Cleaning:
        """What ``to_json`` gave."""
        start, end, *numbers, settled = saved
        period, peak, trough, index, die, torque, kg = (nan if v is None else float(v) for v in numbers)
        return cls(start, end, period, peak, trough, index, die, torque, kg, settled)


class CleaningLog:
    """Follows torque and weight, and gives each complete cleaning once.

    Attributes:
        begun: when a cleaning has begun in the last ten seconds, and how long after the last complete one,
            seconds; None when none has.
    """

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._wiper, self._die = (stage.column.get(p, -1) for p in ("filter.wiper.state", "die.pressure.pv"))
        self._turning = 0  # tens of seconds in which the wiper did not stop
        self._levels: list[tuple[float, float]] = []  # of pressure difference and die pressure meanwhile
        self._moved = True  # whether the wiper moved at the end of the last ten seconds, as far as known
        self._last_ns: int | None = None  # start of the last complete cleaning
        self.begun: tuple[int, float] | None = None
        self._columns = [stage.column.get(p, -1) for p in (TORQUE, WEIGHT)]
        self._rows: deque[tuple[int, float, float]] = deque()

    def follow(self, tens: Tens) -> list[Cleaning]:
        """The cleanings that became known with these ten seconds."""
        first_ns = tens.time_ns - (len(tens.rows) - 1) * NS
        torque, weight = (
            tens.rows[:, c].tolist() if c >= 0 else [nan] * len(tens.rows) for c in self._columns
        )
        self._rows.extend(
            (first_ns + n * NS, t, w) for n, (t, w) in enumerate(zip(torque, weight, strict=True))
        )
        while self._rows and self._rows[0][0] < tens.time_ns - _KEPT_S * NS:
            self._rows.popleft()
        found = [self._of(cycle, tens) for cycle in tens.cycles if cycle.complete]
        self._follow_wiper(tens.rows, first_ns)
        if found:
            self._last_ns = found[-1].start_ns
        return found + self._without_pause(tens)

    def _follow_wiper(self, rows: NDArray[np.float64], first_ns: int) -> None:
        self.begun = None
        if self._wiper < 0:
            return
        state = rows[:, self._wiper]
        moves = (state == WIPING) | np.isnan(state)
        starts = np.flatnonzero((state == WIPING) & ~np.concatenate(([self._moved], moves[:-1])))
        self._moved = bool(moves[-1])
        if len(starts) and self._last_ns is not None:
            start_ns = first_ns + int(starts[-1]) * NS
            self.begun = (start_ns, (start_ns - self._last_ns) / NS)

    def _without_pause(self, tens: Tens) -> list[Cleaning]:
        """A wiper that never stops has no cleanings: every two minutes of it stand for one."""
        wiping = self._wiper >= 0 and bool((tens.rows[:, self._wiper] == WIPING).all())
        if not wiping:
            self._turning = 0
            self._levels.clear()
            return []
        self._turning += 1
        self._levels.append((self._mean_dp(tens), float(tens.mean[self._die]) if self._die >= 0 else nan))
        if self._turning < _ENDLESS or len(self._levels) < _STANDS_FOR:
            return []
        dp, die = (float(np.mean(v)) for v in zip(*self._levels, strict=True))
        self._levels.clear()
        cycle = Cycle(tens.time_ns - int(_STANDS_FOR * TENS_S) * NS, tens.time_ns, dp, dp, nan, die, 0.0)
        return [self._of(cycle, tens)]

    def _mean_dp(self, tens: Tens) -> float:
        return float(np.mean(self._stage.dp_bar(tens.rows)))

    def _of(self, cycle: Cycle, tens: Tens) -> Cleaning:
        moving = [
            t
            for at, t, _ in self._rows
            if cycle.start_ns + _INRUSH_S * NS <= at < cycle.end_ns and not isnan(t)
        ]
        before = [w for at, _, w in self._rows if at < cycle.start_ns and not isnan(w)]
        after = [w for at, _, w in self._rows if at >= cycle.end_ns and not isnan(w)]
        line, since_s = tens.line, (tens.time_ns - cycle.start_ns) / NS
        settled = (
            line.running is True and line.running_s - since_s >= 600 and line.feed_changed_s - since_s >= 180
        )
        index = cycle.bare_index if not isnan(cycle.bare_index) else cycle.bare_trough_bar
        return Cleaning(
            cycle.start_ns,
            cycle.end_ns,
            cycle.period_s,
            cycle.peak_bar,
            cycle.trough_bar,
            index,
            cycle.die_bar,
            float(np.mean(moving)) if moving else nan,
            after[-1] - before[-1] if before and after else nan,
            settled,
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "rows": [[at, or_none(t), or_none(w)] for at, t, w in self._rows],
            "turning": self._turning,
            "levels": [[or_none(a), or_none(b)] for a, b in self._levels],
            "moved": self._moved,
            "last": self._last_ns,
        }

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self._rows = deque((at, or_nan(t), or_nan(w)) for at, t, w in state["rows"])
        self._turning = state["turning"]
        self._levels = [(or_nan(a), or_nan(b)) for a, b in state["levels"]]
        self._moved, self._last_ns = state["moved"], state["last"]


def or_none(value: float) -> float | None:
    """NaN as null."""
    return None if isnan(value) else value


def or_nan(value: float | None) -> float:
    """What ``or_none`` gave."""
    return nan if value is None else value


def usual_of(cleanings: list[Cleaning], name: str) -> float:
    """The median of one of their figures; NaN when none is known."""
    known = [v for c in cleanings if not isnan(v := float(getattr(c, name)))]
    return float(np.median(known)) if known else nan
