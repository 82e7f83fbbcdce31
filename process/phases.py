"""In which phase a line is: heating up, soaking, starting, running steadily, stopping.

A state machine over features on a 10 s grid, and over what people tell of screen and material. A phase
becomes the present one when its signs have lasted for its dwell time; it is then dated back to when they
began. A shorter spell stays part of the phase around it.
common practice, no source: all limits and dwell times.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass
from math import isnan, nan
from typing import Any

from process.features import GRID_S, Features
from process.level_shift import LevelShift
from process.phase_names import (
    DWELL_S,
    HEAT_UP,
    MATERIAL_CHANGE,
    OFF,
    RAMP,
    RUNNING,
    SCREEN_CHANGE,
    SHUTDOWN,
    STANDBY,
    START,
    STEADY,
    UNKNOWN,
)
from process.standing import while_standing
from process.steadiness import WINDOW_S, why_not_steady

NS = 1_000_000_000

_STARTED_SHARE = 0.5
_FEED_OFF_SHARE = 0.05
# Of feed and screw speed set-points (relative), and of the sum of the temperature set-points (K).
_CHANGES = (0.02, 0.02, None)
_CHANGE_K = 0.5
_RAMP_PER_MIN = 0.03
_AFTER_CHANGE_S = 300.0
_FIRST_STEADY_S = 900.0
_RAMP_POINTS = 12
_STOPPED = {SHUTDOWN, STANDBY, SCREEN_CHANGE}
# Five residence times of about 50 s, and five minutes for what lies in dead corners.
_MATERIAL_S = 550.0


@dataclass(frozen=True, slots=True)
class Phase:
    """One phase of a line.

    Attributes:
        name: one of ``process.phase_names``.
        start_ns, end_ns: from the first sign of it to the first sign of the next one, UTC nanoseconds.
        reason: what showed that it began, for a person.
        confidence: share of its ten-second points that show its signs by themselves, 0 to 1; the others are
            spells too short to be a phase of their own.
    """

    name: str
    start_ns: int
    end_ns: int
    reason: str
    confidence: float = 1.0


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
        self._points = self._signed = 0  # of the present phase; those that show its signs
        self._next: tuple[str, str, int] | None = None  # a phase whose signs have begun: name, reason, when
        self._last_ns = 0
        self._melt_on_ns: int | None = None  # the screw has turned since then
        self._has_run = False  # since the line was last heated up
        self._started_ns: int | None = None  # when the start was over
        self._stopped_ns: int | None = None
        self._reference: tuple[float, ...] = (nan, nan, nan)  # set-points that later ones are compared with
        self._changed_ns: int | None = None
        self._same_ns: int | None = None  # up to then the set-points were those
        self._turned_ns: int | None = None  # from then on they moved, which may be slow
        self._material: tuple[int, str] | None = None  # when another material came in, and who says so
        self._screen_told = False  # since the screw stopped
        self._shift = LevelShift()  # of the die pressure, which another melt moves

    def told_of_material(self, time_ns: int, reason: str = "another lot, as noted") -> None:
        """Somebody notes that another material or lot goes in."""
        self._material = (time_ns, reason)

    def told_of_screen(self) -> None:
        """Somebody notes that the screen is changed, while the screw stands."""
        self._screen_told = True

    @property
    def present(self) -> Phase | None:
        """The present phase so far; None before the first grid point."""
        if self._start_ns is None:
            return None
        return Phase(self._name, self._start_ns, self._last_ns, self._reason, self._confidence)

    @property
    def _confidence(self) -> float:
        return self._signed / self._points if self._points else 1.0

    def push(self, features: Features) -> Phase | None:
        """Take the next grid point; gives a phase that is over."""
        f = features
        if self._start_ns is None:
            self._start_ns = f.time_ns
        self._follow(f)
        name, reason, since_ns = self._decide(f)
        self._last_ns = f.time_ns
        self._window.append(f)
        self._points += 1
        self._signed += name == self._name
        if name == self._name:
            self._next = None
            return None
        if self._next is None or self._next[0] != name:
            if self._next is not None and {self._next[0], name} <= _STOPPED:
                since_ns = self._next[2]  # feed off, screw off, heating off: one stop, a short spell of each
            self._next = (name, reason, since_ns)
        name, reason, since_ns = self._next
        if (f.time_ns - since_ns) / NS < DWELL_S[name]:
            return None
        return self._enter(name, reason, max(since_ns, self._start_ns))

    def _enter(self, name: str, reason: str, start_ns: int) -> Phase | None:
        ended = max(round((self._last_ns - start_ns) / NS / GRID_S), 0)  # points that the next phase has
        self._points = max(self._points - ended, self._signed)
        before = Phase(self._name, self._start_ns or 0, start_ns, self._reason, self._confidence)
        self._points = self._signed = 0
        self._name, self._reason, self._start_ns, self._next = name, reason, start_ns, None
        return before if before.end_ns > before.start_ns else None

    def _follow(self, f: Features) -> None:
        """Keep what a single grid point does not show: since when melt runs, what was changed last."""
        if f.turns:
            if self._melt_on_ns is None:
                self._melt_on_ns = f.time_ns
            self._stopped_ns = None
            self._has_run = True
            self._screen_told = False
        elif f.stands:
            self._melt_on_ns = None
            self._started_ns = None
            self._shift.begin_anew()
            self._stopped_ns = f.time_ns if self._stopped_ns is None else self._stopped_ns
        if not isnan(f.feed_sp_kg_h):
            self._highest_kg_h = max(self._highest_kg_h, f.feed_sp_kg_h)
        now = (f.feed_sp_kg_h, f.screw_sp_per_min, f.setpoint_sum_cel)
        if now == self._reference:
            self._same_ns = f.time_ns
        if any(_differs(n, b, least) for n, b, least in zip(now, self._reference, _CHANGES, strict=True)):
            if self._changed_ns is None or (f.time_ns - self._changed_ns) / NS >= _AFTER_CHANGE_S:
                self._turned_ns = f.time_ns if self._same_ns is None else self._same_ns
            self._changed_ns, self._reference, self._same_ns = f.time_ns, now, f.time_ns
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
            rested_s = 0.0 if self._stopped_ns is None else (f.time_ns - self._stopped_ns) / NS
            name, reason = while_standing(
                f, self._name, rested_s, has_run=self._has_run, screen_told=self._screen_told
            )
            self._has_run = self._has_run and name not in (OFF, HEAT_UP)
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
            self._shift.begin_anew()
            return (
                RAMP,
                "a set-point was changed less than five minutes ago",
                max(self._turned_ns or self._changed_ns, self._started_ns),
            )
        self._look_for_another_melt(f)
        if self._material is not None and now - self._material[0] < _MATERIAL_S * NS:
            return MATERIAL_CHANGE, self._material[1], max(self._material[0], self._started_ns)
        slope = self._feed_slope_per_min(f)
        if abs(slope) > _RAMP_PER_MIN * planned:
            return RAMP, f"feed moves by {slope:+.0f} kg/h a minute", now
        return self._steady_or_not(f)

    def _look_for_another_melt(self, f: Features) -> None:
        """A die pressure at another level, with every set-point as it was: proposed as another material."""
        if not f.wiping and self._shift.push(f.die_bar):
            reason = "die pressure at another level though nothing was set: another material, to be confirmed"
            self._material = (f.time_ns, reason)

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
        purged_ns = 0 if self._material is None else self._material[0] + int(_MATERIAL_S * NS)
        first_ns = min(max(window[0].time_ns, least_ns, ramp_ns, early_ns, purged_ns), now)
        return STEADY, "ten minutes within the limits of steady running", first_ns

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "highest": self._highest_kg_h,
            "window": [[_or_none(v) for v in astuple(f)] for f in self._window],
            "points": [self._points, self._signed],
            "name": self._name,
            "reason": self._reason,
            "start": self._start_ns,
            "next": self._next,
            "last": self._last_ns,
            "melt_on": self._melt_on_ns,
            "has_run": self._has_run,
            "started": self._started_ns,
            "stopped": self._stopped_ns,
            "reference": [_or_none(v) for v in self._reference],
            "changed": self._changed_ns,
            "same": self._same_ns,
            "turned": self._turned_ns,
            "material": self._material,
            "screen_told": self._screen_told,
            "shift": self._shift.save(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._highest_kg_h = state["highest"]
        self._window.clear()
        self._window.extend(_features(f) for f in state["window"])
        self._points, self._signed = state.get("points", (0, 0))
        self._name, self._reason, self._start_ns = state["name"], state["reason"], state["start"]
        self._next = None if state["next"] is None else tuple(state["next"])
        self._last_ns, self._melt_on_ns = state["last"], state["melt_on"]
        self._has_run, self._started_ns = state["has_run"], state["started"]
        self._stopped_ns, self._changed_ns = state["stopped"], state["changed"]
        self._reference = tuple(nan if v is None else v for v in state["reference"])
        self._same_ns, self._turned_ns = state.get("same"), state.get("turned")
        self._material = None if state["material"] is None else tuple(state["material"])
        self._screen_told = state["screen_told"]
        self._shift.restore(state["shift"])


def phases_of(
    points: Iterable[Features],
    planned_kg_h: float | None = None,
    *,
    materials_ns: Iterable[int] = (),
    screens_ns: Iterable[int] = (),
) -> list[Phase]:
    """The phases of a stretch of features, in order, without holes; the last one ends at the last point.

    Args:
        materials_ns: when somebody noted another material or lot.
        screens_ns: when somebody noted another screen.
    """
    tracker = PhaseTracker(planned_kg_h)
    materials, screens = deque(sorted(materials_ns)), deque(sorted(screens_ns))
    over: list[Phase] = []
    for f in points:
        while materials and materials[0] <= f.time_ns:
            tracker.told_of_material(materials.popleft())
        while screens and screens[0] <= f.time_ns:
            screens.popleft()
            tracker.told_of_screen()
        ended = tracker.push(f)
        if ended is not None:
            over.append(ended)
    present = tracker.present
    return over if present is None else [*over, present]


def _features(saved: Sequence[Any]) -> Features:
    numbers: list[Any] = [nan if v is None else v for v in saved]
    return Features(*numbers)


def _or_none(value: float) -> float | None:
    return None if isnan(value) else value


def _differs(now: float, before: float, share: float | None) -> bool:
    """Whether a set-point moved; False while one is not known."""
    return abs(now - before) > (_CHANGE_K if share is None else share * max(abs(before), 1.0))
