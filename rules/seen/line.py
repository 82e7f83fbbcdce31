"""What the line is doing, for every rule alike: whether melt runs, since when, and what was changed last."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, isnan, nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from historian.tags import Tag
from process.features import HOT_OUT_PERCENT, Features
from process.phase_names import STEADY, UNKNOWN
from process.phases import PhaseTracker
from rules.line import LineFacts
from rules.seen.running import RUNNING_PATHS, Running
from rules.seen.tens import Window
from rules.seen.told import MATERIAL_CHANGED, SCREEN_CHANGED, Told

START_S = 600.0
SETTLE_S = 180.0
"""How long feed, speeds and pressures take to settle. common practice, no source: both."""

_HEATING_UP_K = 15.0
_CHANGE_SHARE = 0.02
_CHANGE_K = 0.5
_SPEEDS = ("doser.rate.sp", "extruder.screw.speed.sp", "pelletizer.knife.speed.sp")
_FEATURES = {
    "feed_kg_h": "doser.rate.pv",
    "feed_sp_kg_h": "doser.rate.sp",
    "screw_per_min": "extruder.screw.speed.pv",
    "screw_sp_per_min": "extruder.screw.speed.sp",
    "knife_per_min": "pelletizer.knife.speed.pv",
    "knife_sp_per_min": "pelletizer.knife.speed.sp",
    "die_bar": "die.pressure.pv",
    "melt_cel": "extruder.melt.temp.pv",
    "diverter": "diverter.state",
}
_ZONE = re.compile(r"((?:filter\.plate|extruder\.zone|die\.zone)\.\d+)\.temp\.pv")


@dataclass(frozen=True, slots=True)
class LineState:
    """What the line is doing at the end of ten seconds.

    Attributes:
        time_ns: their last second.
        running: melt runs; None: not known.
        running_s: how long melt has run, 0 while it stands or is not known.
        standing_s: how long melt has stood, 0 while it runs or is not known.
        feed_changed_s: since the set-point of feed, screw or knives moved by more than 2 %; inf: never.
        heat_changed_s: since the set-point of a heated zone moved; inf: never.
        heating_up: a heated zone in use is more than 15 K below its set-point and melt does not run.
        wiped_s: since the wiper last moved, 0 while it moves; inf: never, or no such signal.
        cutting: the knives turn; None: not known or no such signal.
        phase: as ``process.phases`` tells it by then, one of ``process.phase_names``.
    """

    time_ns: int
    running: bool | None
    running_s: float
    standing_s: float
    feed_changed_s: float
    heat_changed_s: float
    heating_up: bool
    wiped_s: float
    cutting: bool | None
    phase: str

    @property
    def steady(self) -> bool:
        """Whether the line has run steadily for ten minutes: what is usual is learnt then, and only then."""
        return self.phase == STEADY

    def unsettled(
        self, start_s: float = START_S, settle_s: float = SETTLE_S, wipe_s: float | None = None
    ) -> str | None:
        """Why a rule that needs running, settled melt cannot judge now; None: it can.

        Args:
            start_s, settle_s: how long after melt-on, after a changed set-point.
            wipe_s: how long after a cleaning; None: cleanings do not matter.
        """
        if self.running is None:
            return "it is not known whether melt runs"
        if not self.running:
            return "melt stands"
        if self.running_s < start_s:
            return "melt has only just begun to run"
        if self.feed_changed_s < settle_s:
            return "feed or a speed was changed"
        if wipe_s is not None and self.wiped_s < wipe_s:
            return "cleaning"
        return None


class LineFollower:
    """Follows what the line is doing, ten seconds after ten seconds.

    Args:
        column: path → column of the grid.
    """

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag], column: Mapping[str, int]) -> None:
        self._running = Running(facts, tags)
        self._signals = [column.get(p, -1) for p in RUNNING_PATHS]
        self._speeds = [column[p] for p in _SPEEDS if p in column]
        zones = [m.group(1) for m in map(_ZONE.fullmatch, sorted(column)) if m]
        self._heated = [
            (column[z + ".temp.pv"], column[z + ".temp.sp"], column.get(z + ".enabled.state", -1))
            for z in zones
            if z + ".temp.sp" in column
        ]
        self._wiper = column.get("filter.wiper.state", -1)
        self._knives = column.get("pelletizer.knife.speed.pv", -1)
        self._phases = PhaseTracker(facts.planned_kg_h)
        self._features = [(name, column[path]) for name, path in _FEATURES.items() if path in column]
        self._outputs = [(column.get(z + ".out", -1), column.get(z + ".enabled.state", -1)) for z in zones]
        self._speed_was = np.full(len(self._speeds), nan)
        self._heat_was = np.full(len(self._heated), nan)
        self._speed_changed: int | None = None
        self._heat_changed: int | None = None
        self._wiped: int | None = None

    def follow(self, window: Window, told: Sequence[Told] = ()) -> LineState:
        """Take the next ten seconds, and what people told by then."""
        now = window.time_ns
        for one in told:
            if one.what == SCREEN_CHANGED:
                self._phases.told_of_screen()
            elif one.what == MATERIAL_CHANGED:
                self._phases.told_of_material(max(one.time_ns, now))
        feed, speed, dp = (window.last[c] if c >= 0 else nan for c in self._signals)
        self._running.push(now, float(feed), float(speed), float(dp))
        self._follow_set_points(window)
        wiping = self._wiper >= 0 and bool((window.rows[:, self._wiper] > 0).any())
        if wiping:
            self._wiped = now
        for_s = self._running.for_s(now)
        running = True if self._running.runs else False if self._running.stopped else None
        knives = float(window.last[self._knives]) if self._knives >= 0 else nan
        return LineState(
            now,
            running,
            for_s if running else 0.0,
            for_s if running is False else 0.0,
            _since_s(now, self._speed_changed),
            _since_s(now, self._heat_changed),
            running is not True and self._is_cold(window),
            _since_s(now, self._wiped),
            None if isnan(knives) else knives > 1,
            self._phase(window, wiping=wiping),
        )

    def _phase(self, window: Window, *, wiping: bool) -> str:
        singles = {name: float(window.mean[c]) for name, c in self._features}
        self._phases.push(Features(window.time_ns, **singles, **self._zones(window), wiping=wiping))
        present = self._phases.present
        return UNKNOWN if present is None else present.name

    def _zones(self, window: Window) -> dict[str, float]:
        """The features that look at all heated zones in use together."""
        if not self._heated:
            return {}
        mean, last = window.mean, window.last
        used = [(t, sp) for t, sp, use in self._heated if use < 0 or last[use] != 0]
        temps, set_points = mean[[t for t, _ in used]], last[[sp for _, sp in used]]
        outs = mean[[out for out, use in self._outputs if out >= 0 and (use < 0 or last[use] != 0)]]
        known = outs[~np.isnan(outs)]
        return {
            "most_below_k": _largest(set_points - temps),
            "farthest_k": _largest(np.abs(set_points - temps)),
            "hottest_cel": _largest(temps),
            "most_out": _largest(outs),
            "hot_share": float(np.mean(known > HOT_OUT_PERCENT)) if len(known) else nan,
            "setpoint_sum_cel": float(np.sum(set_points)),
        }

    def _follow_set_points(self, window: Window) -> None:
        speeds = window.last[self._speeds]
        moved = np.abs(speeds - self._speed_was) > _CHANGE_SHARE * np.maximum(np.abs(self._speed_was), 1.0)
        if moved.any():
            self._speed_changed = window.time_ns
        # A slow ramp moves by little at each step: what it is compared with stays until it has moved enough.
        self._speed_was = np.where(moved | np.isnan(self._speed_was), speeds, self._speed_was)
        heat = window.last[[sp for _, sp, _ in self._heated]]
        changed = np.abs(heat - self._heat_was) > _CHANGE_K
        if changed.any():
            self._heat_changed = window.time_ns
        self._heat_was = np.where(np.isnan(heat), self._heat_was, heat)

    def _is_cold(self, window: Window) -> bool:
        used = [(t, sp) for t, sp, use in self._heated if use < 0 or window.last[use] != 0]
        below = [window.last[sp] - window.mean[t] for t, sp in used]
        return any(b > _HEATING_UP_K for b in below)

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "running": self._running.save(),
            "speed_was": [None if isnan(v) else float(v) for v in self._speed_was],
            "heat_was": [None if isnan(v) else float(v) for v in self._heat_was],
            "speed_changed": self._speed_changed,
            "heat_changed": self._heat_changed,
            "wiped": self._wiped,
            "phases": self._phases.save(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._running.restore(state["running"])
        self._speed_was = np.asarray([nan if v is None else v for v in state["speed_was"]], dtype=float)
        self._heat_was = np.asarray([nan if v is None else v for v in state["heat_was"]], dtype=float)
        self._speed_changed, self._heat_changed = state["speed_changed"], state["heat_changed"]
        self._wiped = state["wiped"]
        self._phases.restore(state["phases"])


def _largest(values: NDArray[np.float64]) -> float:
    known = values[~np.isnan(values)]
    return float(np.max(known)) if len(known) else nan


def _since_s(now_ns: int, then_ns: int | None) -> float:
    return inf if then_ns is None else (now_ns - then_ns) / NS
