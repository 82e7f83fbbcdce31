"""Follows the cleanings of the screen as they happen, and when the next one is due."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, nan

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Series
from historian.store import Store
from process.cycles import Cycle, CycleTracker, cycles_of
from process.screen import Forecast, time_to_limit
from process.statistics import theil_sen
from rules.block import Block, Held
from rules.line import MeltFilter

DP, INLET, OUTLET = "filter.dp.calc", "filter.inlet.pressure.pv", "filter.outlet.pressure.pv"
WIPER, DIE = "filter.wiper.state", "die.pressure.pv"

LOOK_BACK_NS = 3 * 3600 * NS
BEGIN_ANEW_NS = 600 * NS
"""Samples that were filled in late are found by reading anew."""

MARGIN_NS = 2 * NS
"""The newest two seconds may still lack a signal that comes by another way."""

RISE_NS = 120 * NS
SETTLED_NS = 8 * NS
LEAST_RISE_POINTS = 8
SHOWN = 12
LEAST_CYCLES = 6
HABIT, LEAST_HABIT = 6, 3
WARN_SHARE = 0.75


@dataclass(frozen=True, slots=True)
class Due:
    """When the next cleaning is expected, seconds from now.

    Attributes:
        because: "load" (the pressure rises to its trigger), "habit" (as the last ones came) or "clock".
    """

    after_s: float
    because: str


class CleaningWatch:
    """Cleanings of one line, read from its store as time goes on.

    Not safe for several threads at once: its owner holds the lock.
    """

    def __init__(self) -> None:
        self._begin(0)

    def _begin(self, start_ns: int) -> None:
        self._tracker = CycleTracker()
        self._held: Held | None = None
        self._until_ns = self._begun_ns = start_ns
        self._cycles: list[Cycle] = []
        self._rise: list[tuple[int, float]] = []
        self._wiper = nan
        self._wiped_ns = self._rested_ns = 0

    @property
    def cycles(self) -> list[Cycle]:
        """The last twelve cleanings, oldest first."""
        return self._cycles[-SHOWN:]

    @property
    def wiping_since_ns(self) -> int | None:
        """When the cleaning under way began; None while the wiper rests."""
        return self._wiped_ns if self._wiper == 1.0 else None

    @property
    def last_end_ns(self) -> int | None:
        """When the last cleaning ended; None when none was seen."""
        return self._cycles[-1].end_ns if self._cycles else None

    def follow(self, store: Store, source_now_ns: int) -> None:
        """Read what came since the last call, up to a moment of source time."""
        if source_now_ns < self._until_ns or source_now_ns - self._begun_ns > LOOK_BACK_NS + BEGIN_ANEW_NS:
            self._begin(source_now_ns - LOOK_BACK_NS)
        end_ns = source_now_ns - MARGIN_NS
        if end_ns <= self._until_ns:
            return
        block = _block(store, self._until_ns, end_ns)
        self._until_ns = end_ns
        if self._held is None:
            self._held = Held((DP, WIPER, DIE))
        rows = self._held.rows(block)
        for time_ns, (dp, wiper, die) in zip(rows.time_ns.tolist(), rows.value.tolist(), strict=True):
            self._take(time_ns, dp, wiper, die)

    def _take(self, time_ns: int, dp: float, wiper: float, die: float) -> None:
        if wiper == 1.0 and self._wiper != 1.0:
            self._wiped_ns = time_ns
        if wiper != 1.0 and self._wiper == 1.0:
            self._rested_ns = time_ns
        self._wiper = wiper
        done = self._tracker.push(time_ns, dp, wiper, die)
        if done is not None:
            self._cycles = [*self._cycles[-40:], done]
        if wiper == 1.0:
            self._rise = []
        elif not isnan(dp):
            self._rise.append((time_ns, dp))
            while self._rise[0][0] < time_ns - RISE_NS:
                self._rise.pop(0)

    def due(self, facts: MeltFilter | None, source_now_ns: int) -> Due | None:
        """When the next cleaning is expected; None when nothing known tells it."""
        if facts is None or self.wiping_since_ns is not None:
            return None
        by_load = self._by_load(facts, source_now_ns) or self._by_habit(source_now_ns)
        found = [d for d in (by_load, self._by_clock(facts, source_now_ns)) if d is not None]
        return min(found, key=lambda d: d.after_s, default=None)

    def _by_load(self, facts: MeltFilter, source_now_ns: int) -> Due | None:
        if facts.trigger_dp_bar is None or not self._rise:
            return None
        points = [(t, v) for t, v in self._rise if t >= self._rested_ns + SETTLED_NS]
        points = points[:: max(1, len(points) // 60)]
        if len(points) < LEAST_RISE_POINTS:
            return None
        seconds = np.array([(t - points[0][0]) / NS for t, _ in points])
        values = np.array([v for _, v in points])
        newest = float(np.median(values[-3:]))
        forecast = time_to_limit(newest, facts.trigger_dp_bar, theil_sen(seconds, values))
        if forecast is None:
            return None
        lag_s = (source_now_ns - points[-2][0]) / NS
        return Due(max(0.0, forecast.after_s + facts.trigger_held_s - lag_s), "load")

    def _by_habit(self, source_now_ns: int) -> Due | None:
        """After the usual time since the last one: all that can be told before the pressure rises."""
        usual_s = [c.period_s for c in self._cycles[-HABIT:] if not isnan(c.period_s)]
        if len(usual_s) < LEAST_HABIT:
            return None
        left_s = float(np.median(usual_s)) - (source_now_ns - self._wiped_ns) / NS
        return Due(left_s, "habit") if left_s > 0 else None

    def _by_clock(self, facts: MeltFilter, source_now_ns: int) -> Due | None:
        if facts.max_interval_s is None or self.last_end_ns is None:
            return None
        since_s = (source_now_ns - self.last_end_ns) / NS
        return Due(max(0.0, facts.max_interval_s - since_s), "clock")

    def outlook(self, facts: MeltFilter | None) -> Forecast | None:
        """When the pressure left after cleaning reaches 75 % of the trigger; None while it does not rise."""
        if facts is None or facts.trigger_dp_bar is None:
            return None
        whole = [c for c in self.cycles if c.complete and not isnan(c.trough_bar)]
        if len(whole) < LEAST_CYCLES:
            return None
        seconds = [(c.end_ns - whole[0].end_ns) / NS for c in whole]
        troughs = [c.trough_bar for c in whole]
        return time_to_limit(
            float(np.median(troughs[-3:])), WARN_SHARE * facts.trigger_dp_bar, theil_sen(seconds, troughs)
        )


def cycles_between(store: Store, start_ns: int, end_ns: int) -> list[Cycle]:
    """Every cleaning that is whole within a window."""
    rows = Held((DP, WIPER, DIE)).rows(_block(store, start_ns, end_ns))
    return cycles_of(rows.time_ns, rows.value[:, 0], rows.value[:, 1], rows.value[:, 2])


def _block(store: Store, start_ns: int, end_ns: int) -> Block:
    """What the tracker needs of a window; the difference is taken here when the line does not deliver it."""
    known = store.tags()
    wanted = [p for p in (DP, WIPER, DIE) if p in known]
    if DP not in known:
        wanted += [p for p in (INLET, OUTLET) if p in known]
    found = store.read(wanted, start_ns, end_ns) if wanted else {}
    if DP not in found and INLET in found and OUTLET in found:
        found[DP] = difference(found[INLET], found[OUTLET])
    return Block(found, end_ns)


def difference(inlet: Series, outlet: Series) -> Series:
    """Inlet minus outlet, paired on the nearest source time within one second.

    Pairs farther apart have no value. Source: derived here; the pairing window is common practice.
    """
    if len(inlet) == 0 or len(outlet) == 0:
        return Series.empty()
    right = np.searchsorted(outlet.time_ns, inlet.time_ns).clip(1, max(1, len(outlet) - 1))
    right = np.minimum(right, len(outlet) - 1)
    left = np.maximum(right - 1, 0)
    nearer: NDArray[np.int64] = np.where(
        np.abs(outlet.time_ns[left] - inlet.time_ns) <= np.abs(outlet.time_ns[right] - inlet.time_ns),
        left,
        right,
    )
    apart = np.abs(outlet.time_ns[nearer] - inlet.time_ns)
    value = np.where(apart <= NS, inlet.value - outlet.value[nearer], np.nan)
    return Series(inlet.time_ns, value, np.maximum(inlet.quality, outlet.quality[nearer]))
