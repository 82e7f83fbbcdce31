"""Why cleanings have changed: told apart by which figures moved and which did not.

Against the usual of the cleanings before: dirt brings them closer together and leaves the bare screen as it
was; a worn wiper leaves dirt behind at the torque it always had; a blocked discharge takes nothing away while
the wiper labours; a wiper that slips turns without load and takes nothing off. common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import log, nan
from statistics import median
from typing import Any

from rules.detectors.filtering.log import Cleaning, CleaningLog, usual_of
from rules.seen.stage import Stage, Tens

LEAST = 5
MOST = 10

_IN_A_ROW = 3
_LATELY = 2
_LEAST_SCATTER = 0.2
_LONG_S = 600.0  # the screen may be another one, or the filter opened

CLOSER = 0.8
_SAME_DIE = 0.06
_LEFT_BEHIND = 1.15
_MORE_LAID_ON = 1.25  # dirtier bales alone lift it by a fifth where the wiper never stops
_AS_CLEAN = 1.1
_LITTLE_KG = 0.4
_NOTHING_KG = 0.15
_LABOURS = 1.12
_WEAKER = 0.85
_UNLOADED = 0.6
_TAKES_NOTHING = 0.4


class Cause(StrEnum):
    """What has changed; the value is the rule that says so."""

    DIRT = "dirt-step"
    WEAK = "cleaning-weak"
    BLOCKED = "discharge-blocked"
    SLIPS = "wiper-slipping"
    MELT = "melt-changed"


@dataclass(frozen=True, slots=True)
class Usual:
    """The usual of the cleanings before; NaN where not known.

    Attributes:
        index_lately: of the last two; a screen that is blinded slowly takes it along.
        period_scatter: standard deviation of the period's natural logarithm, at least 0.2.
    """

    period_s: float
    amplitude_bar: float
    index: float
    die_bar: float
    torque_percent: float
    discharged_kg: float
    period_scatter: float
    index_lately: float

    @classmethod
    def of(cls, cleanings: list[Cleaning]) -> Usual:
        """The medians."""
        names = ("period_s", "amplitude_bar", "index", "die_bar", "torque_percent", "discharged_kg")
        period_s, amplitude, index, die, torque, kg = (usual_of(cleanings, name) for name in names)
        return cls(
            period_s,
            amplitude,
            index,
            die,
            torque,
            kg,
            period_scatter_of(cleanings),
            usual_of(cleanings[-_LATELY:], "index"),
        )


def period_scatter_of(cleanings: list[Cleaning]) -> float:
    """See ``Usual``; from the median absolute deviation."""
    logs = [log(c.period_s) for c in cleanings if c.period_s > 0]
    middle = median(logs) if logs else 0.0
    return max(_LEAST_SCATTER, 1.4826 * median(abs(v - middle) for v in logs)) if logs else _LEAST_SCATTER


def cause_of(now: Cleaning, usual: Usual) -> Cause | None:
    """What one cleaning looks like beside the usual; None: as usual, or like nothing that is known."""
    amplitude = _ratio(now.amplitude_bar, usual.amplitude_bar)
    torque = _ratio(now.torque_percent, usual.torque_percent)
    kg = _ratio(now.discharged_kg, usual.discharged_kg)
    index, period = _ratio(now.index, usual.index_lately), _ratio(now.period_s, usual.period_s)
    if torque < _UNLOADED and amplitude < _TAKES_NOTHING:
        return Cause.SLIPS
    if kg < _LITTLE_KG and (amplitude < _WEAKER or torque > _LABOURS):
        return Cause.BLOCKED
    if abs(_ratio(now.die_bar, usual.die_bar) - 1) > _SAME_DIE:
        return Cause.MELT
    if now.amplitude_bar == 0:  # a wiper that never stops
        return Cause.WEAK if _ratio(now.index, usual.index) > _MORE_LAID_ON else None
    # Without a scale, only a wiper that does not labour is told from a blocked discharge.
    if index > _LEFT_BEHIND and (kg >= _LITTLE_KG or not torque > _LABOURS):
        return Cause.WEAK
    if period < CLOSER and not _ratio(now.index, usual.index) > _AS_CLEAN:
        return Cause.DIRT
    return None


def is_plainly_blocked(now: Cleaning, usual: Usual) -> bool:
    """Whether one cleaning shows all three signs of a blocked discharge, and plainly."""
    return (
        _ratio(now.discharged_kg, usual.discharged_kg) < _NOTHING_KG
        and _ratio(now.amplitude_bar, usual.amplitude_bar) < _WEAKER
        and _ratio(now.torque_percent, usual.torque_percent) > _LABOURS
    )


def _ratio(now: float, usual: float) -> float:
    return now / usual if usual > 0 else nan


class CauseFollower:
    """Follows cleanings and says of each settled one what it looks like beside the usual.

    The usual is learnt from the last cleanings that looked like nothing, since the line last stood for long.

    Attributes:
        usual: None before five such cleanings.
    """

    def __init__(self, stage: Stage) -> None:
        self._log = CleaningLog(stage)
        self._before: list[Cleaning] = []
        self._short: list[Cleaning] = []  # the last ones, when they came early
        self._other: list[Cleaning] = []  # the last ones, at another die pressure
        self.usual: Usual | None = None

    @property
    def begun(self) -> tuple[int, float] | None:
        """See ``CleaningLog``."""
        return self._log.begun

    def follow(self, tens: Tens) -> list[tuple[Cleaning, Cause | None]]:
        """The settled cleanings that became known with these ten seconds; none before the usual is known."""
        if tens.line.standing_s > _LONG_S or tens.line.feed_changed_s == 0:
            self._before, self._short, self._other, self.usual = [], [], [], None
        found: list[tuple[Cleaning, Cause | None]] = []
        for cleaning in self._log.follow(tens):
            if not cleaning.settled:
                continue
            cause = None if self.usual is None else cause_of(cleaning, self.usual)
            if self.usual is not None:
                found.append((cleaning, cause))
            self._learn(cleaning, cause)
        return found

    def _learn(self, cleaning: Cleaning, cause: Cause | None) -> None:
        """A short period now and then is usual with bales; several in a row are not, and teach nothing."""
        if cause is Cause.MELT:
            self._other.append(cleaning)
            if len(self._other) >= LEAST:  # it is the usual melt by now
                self._before, self._other = self._other, []
                self.usual = Usual.of(self._before)
            return
        self._other = []
        if cause is Cause.DIRT:
            self._short.append(cleaning)
        elif cause is None:
            scatter = self._short if len(self._short) < _IN_A_ROW else []
            self._before, self._short = [*self._before, *scatter, cleaning][-MOST:], []
            self.usual = Usual.of(self._before) if len(self._before) >= LEAST else None

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        kept = {"before": self._before, "short": self._short, "other": self._other}
        return {"log": self._log.save(), **{k: [c.to_json() for c in v] for k, v in kept.items()}}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._log.restore(state["log"])
        kept = ([Cleaning.from_json(c) for c in state[k]] for k in ("before", "short", "other"))
        self._before, self._short, self._other = kept
        self.usual = Usual.of(self._before) if len(self._before) >= LEAST else None
