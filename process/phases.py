"""In which phase a line is: heating up, soaking, starting, running steadily, stopping.

A state machine over features on a 10 s grid. A phase becomes the present one when its signs have lasted for
its dwell time; it is then dated back to when they began. A shorter spell stays part of the phase around it.
common practice, no source: all limits and dwell times.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import isnan, nan

from process.features import GRID_S, Features
from process.steadiness import WINDOW_S, why_not_steady

NS = 1_000_000_000

UNKNOWN = "unknown"
OFF = "off"
HEAT_UP = "heat-up"
SOAK = "soak"
START = "start"
RAMP = "ramp"
STEADY = "steady"
RUNNING = "running"
STANDBY = "standby"
SHUTDOWN = "shutdown"

DWELL_S: Mapping[str, float] = {
    UNKNOWN: 60,
    OFF: 60,
    HEAT_UP: 60,
    SOAK: 120,
    START: 30,
    RAMP: 60,
    STEADY: 0,  # its window is its dwell
    RUNNING: 60,
    STANDBY: 60,
    SHUTDOWN: 60,
}
"""How long a phase's signs must last before it is the present one, s."""

_TURNS_PER_MIN = 1.0
_AT_SETPOINT_K = 3.0
_LEFT_SETPOINT_K = 6.0
_HEATING_UP_K = 15.0
_HOT_CEL = 100.0
_COLD_CEL = 60.0
_IDLE_PERCENT = 5.0
_WARM_K = 30.0
_LONGEST_STANDBY_S = 3600.0
_STARTED_SHARE = 0.5
_FEED_OFF_SHARE = 0.05
# Of feed and screw speed set-points (relative), and of the sum of the temperature set-points (K).
_CHANGES = (0.02, 0.02, None)
_CHANGE_K = 0.5
_RAMP_PER_MIN = 0.03
_AFTER_CHANGE_S = 300.0
_FIRST_STEADY_S = 900.0
_RAMP_POINTS = 12


@dataclass(frozen=True, slots=True)
class Phase:
    """One phase of a line.

    Attributes:
        name: one of the names above.
        start_ns, end_ns: from the first sign of it to the first sign of the next one, UTC nanoseconds.
        reason: what showed that it began, for a person.
    """

    name: str
    start_ns: int
    end_ns: int
    reason: str


class PhaseTracker:
    """Follows a line's phases, one grid point after the other.

    Args:
        planned_kg_h: planned throughput; None: the highest feed set-point so far stands for it.
    """

    def __init__(self, planned_kg_h: float | None = None) -> None:
        self._told_kg_h = planned_kg_h
        self._highest_kg_h = 0.0
        self._window: deque[Features] = deque(maxlen=round(WINDOW_S / GRID_S) + 1)
        self._name = UNKNOWN
        self._reason = "no data yet"
        self._start_ns: int | None = None
        self._next: tuple[str, str, int] | None = None  # a phase whose signs have begun: name, reason, when
        self._last_ns = 0
        self._melt_on_ns: int | None = None  # the screw has turned since then
        self._has_run = False  # since the line was last heated up
        self._started_ns: int | None = None  # when the start was over
        self._stopped_ns: int | None = None
        self._reference: tuple[float, ...] = (nan, nan, nan)  # set-points that later ones are compared with
        self._changed_ns: int | None = None

    @property
    def present(self) -> Phase | None:
        """The present phase so far; None before the first grid point."""
        if self._start_ns is None:
            return None
        return Phase(self._name, self._start_ns, self._last_ns, self._reason)

    def push(self, features: Features) -> Phase | None:
        """Take the next grid point; gives a phase that is over."""
        f = features
        if self._start_ns is None:
            self._start_ns = f.time_ns
        self._follow(f)
        name, reason, since_ns = self._decide(f)
        self._last_ns = f.time_ns
        self._window.append(f)
        if name == self._name:
            self._next = None
            return None
        if self._next is None or self._next[0] != name:
            self._next = (name, reason, since_ns)
        name, reason, since_ns = self._next
        if (f.time_ns - since_ns) / NS < DWELL_S[name]:
            return None
        return self._enter(name, reason, max(since_ns, self._start_ns))

    def _enter(self, name: str, reason: str, start_ns: int) -> Phase | None:
        before = Phase(self._name, self._start_ns or 0, start_ns, self._reason)
        self._name, self._reason, self._start_ns, self._next = name, reason, start_ns, None
        return before if before.end_ns > before.start_ns else None

    def _follow(self, f: Features) -> None:
        """Keep what a single grid point does not show: since when melt runs, what was changed last."""
        if f.turns:
            if self._melt_on_ns is None:
                self._melt_on_ns = f.time_ns
            self._stopped_ns = None
            self._has_run = True
        elif f.stands:
            self._melt_on_ns = None
            self._started_ns = None
            self._stopped_ns = f.time_ns if self._stopped_ns is None else self._stopped_ns
        if not isnan(f.feed_sp_kg_h):
            self._highest_kg_h = max(self._highest_kg_h, f.feed_sp_kg_h)
        now = (f.feed_sp_kg_h, f.screw_sp_per_min, f.setpoint_sum_cel)
        if any(_differs(n, b, least) for n, b, least in zip(now, self._reference, _CHANGES, strict=True)):
            self._changed_ns, self._reference = f.time_ns, now
        kept = zip(self._reference, now, strict=True)
        self._reference = tuple(n if isnan(b) else b for b, n in kept)

    @property
    def _planned_kg_h(self) -> float:
        known = self._told_kg_h if self._told_kg_h is not None else self._highest_kg_h
        return known if known > 0 else nan

    def _decide(self, f: Features) -> tuple[str, str, int]:
        """What the signs say: phase, reason, since when."""
        if f.turns:
            return self._while_turning(f)
        if f.stands:
            name, reason = self._while_standing(f)
            return name, reason, f.time_ns
        return UNKNOWN, "screw speed not known", f.time_ns

    def _while_turning(self, f: Features) -> tuple[str, str, int]:
        now = f.time_ns
        planned = self._planned_kg_h
        if self._started_ns is not None and (f.feed_sp_kg_h == 0 or f.feed_kg_h < _FEED_OFF_SHARE * planned):
            return SHUTDOWN, "feed off, screw runs empty", now
        if self._started_ns is None:
            fed = isnan(planned) or f.feed_kg_h > _STARTED_SHARE * planned
            if not (fed and f.cuts and f.diverter_good and self._name == START):
                return START, "screw turns, not yet cutting good pellets at half the planned feed", now
            self._started_ns = now
        if self._changed_ns is not None and (now - self._changed_ns) / NS < _AFTER_CHANGE_S:
            return (
                RAMP,
                "a set-point was changed less than five minutes ago",
                max(self._changed_ns, self._started_ns),
            )
        slope = self._feed_slope_per_min(f)
        if abs(slope) > _RAMP_PER_MIN * planned:
            return RAMP, f"feed moves by {slope:+.0f} kg/h a minute", now
        return self._steady_or_not(f)

    def _feed_slope_per_min(self, f: Features) -> float:
        earlier = [w for w in self._window if f.time_ns - w.time_ns <= _RAMP_POINTS * GRID_S * NS]
        if not earlier or f.time_ns == earlier[0].time_ns:
            return nan
        minutes = (f.time_ns - earlier[0].time_ns) / NS / 60
        return (f.feed_kg_h - earlier[0].feed_kg_h) / minutes if minutes >= 1 else nan

    def _steady_or_not(self, f: Features) -> tuple[str, str, int]:
        now = f.time_ns
        running_s = (now - (self._melt_on_ns or now)) / NS
        if running_s < _FIRST_STEADY_S:
            return RUNNING, "less than 15 min since melt on", now
        window = [*self._window, f][-(round(WINDOW_S / GRID_S) + 1) :]
        broken = why_not_steady(window)
        if broken:
            return RUNNING, broken, now
        # Dated back over the window, but a phase that was the present one before keeps its least time.
        least_ns = (self._start_ns or now) + int(DWELL_S[RUNNING] * NS)
        ramp_ns = 0 if self._changed_ns is None else self._changed_ns + int(_AFTER_CHANGE_S * NS)
        early_ns = (self._melt_on_ns or now) + int(_FIRST_STEADY_S * NS)
        first_ns = min(max(window[0].time_ns, least_ns, ramp_ns, early_ns), now)
        return STEADY, "ten minutes within the limits of steady running", first_ns

    def _while_standing(self, f: Features) -> tuple[str, str]:
        cold = f.hottest_cel < _COLD_CEL
        if f.most_out < _IDLE_PERCENT and cold:
            self._has_run = False
            return OFF, "no heating, all zones below 60 Cel"
        heating = f.hot_share >= 0.5 or (f.most_below_k > _HEATING_UP_K and f.most_out > _IDLE_PERCENT)
        rested_s = 0.0 if self._stopped_ns is None else (f.time_ns - self._stopped_ns) / NS
        if self._has_run:
            if f.most_out < _IDLE_PERCENT:
                return SHUTDOWN, "screw stands, heating off"
            if f.farthest_k <= _WARM_K and rested_s <= _LONGEST_STANDBY_S:
                return STANDBY, "screw stands, zones kept warm"
            if not heating:
                return SHUTDOWN, "screw stands, zones far from their set-points"
            self._has_run = False
        if heating:
            return HEAT_UP, "zones heat up"
        soaks = self._name == SOAK and f.farthest_k <= _LEFT_SETPOINT_K
        if f.hottest_cel > _HOT_CEL and (f.farthest_k < _AT_SETPOINT_K or soaks):
            return SOAK, "all zones at their set-points, screw stands"
        if f.most_out < _IDLE_PERCENT and self._name != HEAT_UP:
            return SHUTDOWN, "heating off, still warm"
        return (
            (HEAT_UP, "zones on their way to their set-points") if not isnan(f.farthest_k) else (UNKNOWN, "")
        )


def phases_of(points: Iterable[Features], planned_kg_h: float | None = None) -> list[Phase]:
    """The phases of a stretch of features, in order, without holes; the last one ends at the last point."""
    tracker = PhaseTracker(planned_kg_h)
    over = [p for p in (tracker.push(f) for f in points) if p is not None]
    present = tracker.present
    return over if present is None else [*over, present]


def _differs(now: float, before: float, share: float | None) -> bool:
    """Whether a set-point moved; False while one is not known."""
    return abs(now - before) > (_CHANGE_K if share is None else share * max(abs(before), 1.0))
