"""Cleanings with what the wiper and the discharge showed in them."""

from __future__ import annotations

from collections import deque
from dataclasses import astuple, dataclass
from math import isnan, nan
from typing import Any

import numpy as np

from historian.frame import NS
from process.cycles import Cycle
from rules.seen.stage import Stage, Tens

TORQUE = "filter.wiper.torque.pv"
WEIGHT = "filter.discharge.weight.total"

_KEPT_S = 300.0
_INRUSH_S = 1.0


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
    """Follows torque and weight, and gives each complete cleaning once."""

    def __init__(self, stage: Stage) -> None:
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
        return [self._of(cycle, tens) for cycle in tens.cycles if cycle.complete]

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

    def save(self) -> list[list[float | None]]:
        """The state as JSON types (NaN as null)."""
        return [[at, None if isnan(t) else t, None if isnan(w) else w] for at, t, w in self._rows]

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self._rows = deque((at, nan if t is None else t, nan if w is None else w) for at, t, w in state)


def usual_of(cleanings: list[Cleaning], name: str) -> float:
    """The median of one of their figures; NaN when none is known."""
    known = [v for c in cleanings if not isnan(v := float(getattr(c, name)))]
    return float(np.median(known)) if known else nan
