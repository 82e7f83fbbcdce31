"""What the rules of heated zones have in common: a judgement of each zone, told by its name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from process.statistics import median_of_columns
from rules.finding import Blind
from rules.line import LineFacts
from rules.seen.episode import Episodes
from rules.seen.grid import array, numbers
from rules.seen.heat_tens import HeatTens
from rules.seen.rule import Figures, TensRule
from rules.seen.stage import Stage, Tens
from rules.words import count

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FULL_PERCENT = 95.0
NEAR_K = 3.0
CURRENT_SOUND = 0.85
"""Share of the usual current that a whole heater draws; a supply that sags by the 10 % that EN 50160 allows
stays above."""
_HOLD_WINDOWS = 60
_HOLD_FROM = 30
_CLOSE_K = 2.0
_STEADY_K_MIN = 0.3


class ZoneRule(TensRule):
    """A rule that judges every heated zone for itself.

    Attributes:
        zones: which there are.
        episodes: those that were ever begun, by the zones' subjects.
    """

    def __init__(self, facts: LineFacts, stage: Stage, on_s: float, off_s: float) -> None:
        super().__init__(facts, stage)
        self.zones = stage.heat.zones
        self.episodes = Episodes(on_s, off_s)

    def standing(self) -> Flags:
        """Which zones have a finding."""
        known = self.episodes
        return np.asarray([s in known and known[s].standing for s in self.zones.subjects], dtype=np.bool_)

    def changes(self, heat: HeatTens, holds: Flags, known: Flags) -> Iterator[tuple[int, bool]]:
        """The zones whose condition began (True) or ended with this judgement.

        Args:
            holds: where it is seen.
            known: where it can be judged.
        """
        for zone, subject in enumerate(self.zones.subjects):
            if holds[zone] or subject in self.episodes:
                judged = bool(holds[zone]) if known[zone] else None
                change = self.episodes[subject].judge(heat.time_ns, judged)
                if change:
                    yield zone, change > 0

    def blinded(self, tens: Tens, why: str | None = None) -> Sequence[Blind]:
        """That nothing can be judged: for this reason, or because no zone's signals are known."""
        if why is None and not tens.heat.usable.any():
            why = "temperature or output of the heated zones is not known"
        return self.blind.note(tens.time_ns, why)

    def figures(self, zone: int, heat: HeatTens, hold: Floats | None = None) -> Figures:
        """What a person may want to read of a zone."""
        found = {
            "controller output": (heat.out[zone], "%"),
            "heater current": (float(np.fmin(heat.on_a[zone], heat.current_a[zone])), "A"),
            "nominal current": (heat.usual_a[zone], "A"),
            "temperature": (heat.temp_cel[zone], "Cel"),
            "below set-point": (heat.below_k[zone], "K"),
            "warming": (heat.rate_k_min[zone], "K/min"),
        }
        if hold is not None:
            found["output that held it"] = (hold[zone], "%")
        return found

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "episodes": self.episodes.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self.episodes.restore(state["episodes"])


class HoldOutput:
    """The output that held each zone at its set-point of late: the median of ten minutes."""

    def __init__(self, zones: int) -> None:
        self._kept = np.full((_HOLD_WINDOWS, zones), np.nan)
        self._count = np.zeros(zones, dtype=np.int64)
        self._median: Floats | None = None

    @property
    def percent(self) -> Floats:
        """The output of each zone; NaN before five minutes at its set-point."""
        if self._median is None:
            self._median = np.where(self._count >= _HOLD_FROM, median_of_columns(self._kept), np.nan)
        return self._median

    def take(self, heat: HeatTens, frozen: Flags) -> None:
        """Learn from ten seconds, of zones that stand at their set-points; nothing of frozen ones."""
        close = (np.abs(heat.below_k) < _CLOSE_K) & (np.abs(heat.rate_k_min) < _STEADY_K_MIN)
        at = np.flatnonzero(heat.usable & ~frozen & close)
        if len(at):
            self._kept[self._count[at] % _HOLD_WINDOWS, at] = heat.out[at]
            self._count[at] += 1
            self._median = None

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "kept": [numbers(r) for r in self._kept],
            "count": self._count.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._kept = np.asarray([array(r) for r in state["kept"]]).reshape(self._kept.shape)
        self._count = np.asarray(state["count"], dtype=np.int64)
        self._median = None


def sound_current(heat: HeatTens) -> Flags:
    """Where the heater is known to draw what it ought to."""
    sound: Flags = heat.on_a >= CURRENT_SOUND * heat.usual_a
    return sound


def currents(heat: HeatTens, asked_percent: float, share: float) -> tuple[Flags, Flags, Flags]:
    """Which zones ask for heat and have their current known, which of them get too little, which enough.

    Args:
        asked_percent: output above which ten seconds show whether current flows.
        share: of the usual current, below which it is too little.
    """
    by_window = heat.usable & (heat.least_out > asked_percent) & ~np.isnan(heat.current_a)
    by_on = heat.usable & ~np.isnan(heat.on_a)
    least_a = share * heat.usual_a
    none = (by_window & (heat.current_a < least_a)) | (by_on & (heat.on_a < least_a))
    return (by_window | by_on) & ~np.isnan(least_a), none, by_window & (heat.current_a >= least_a)


def named(zones: Sequence[str]) -> str:
    """Zones in a sentence.

    Example:
        >>> named(["Plate 1", "Plate 4", "Barrel zone 1"])
        'plate 1, plate 4 and barrel zone 1'
    """
    small = [z[0].lower() + z[1:] for z in zones]
    if len(small) < 2:
        return "".join(small)
    return ", ".join(small[:-1]) + " and " + small[-1]


def others_hold(rule: ZoneRule, zone: int, heat: HeatTens) -> str:
    """How the other zones of its kind in use stand, as a sentence."""
    others = rule.zones.peers[zone] & heat.usable
    total, holding = int(others.sum()), int((others & (np.abs(heat.below_k) <= NEAR_K)).sum())
    kind = rule.zones.names[zone].rstrip("0123456789 ").lower() + "s"
    if total == 0:
        return f"No other {kind} are judged."
    if holding == total:
        seen = f"All {count(total)}" if total > 1 else "The one"
    else:
        seen = f"{count(holding).capitalize()} of the {count(total)}"
    one = kind[:-1] if total == 1 else kind
    verb = "is" if holding == 1 or (total == 1 and holding == total) else "are"
    return f"{seen} other {one} in use {verb} at set-point (within {NEAR_K:.0f} K)."
