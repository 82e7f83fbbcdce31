"""Whether the wiper moves when it is driven, and rests where it belongs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import isnan, nan
from typing import Any

from historian.frame import NS
from rules.block import Block
from rules.detectors.filtering.log import TORQUE, or_nan, or_none
from rules.detectors.filtering.rows import PARKED, WIPER, WIPING
from rules.finding import Blind, Finding
from rules.line import LineFacts, MeltFilter
from rules.seen.episode import Episode
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens

ANGLE = "filter.wiper.angle.pv"
PARK = "filter.wiper.park.state"

_LOOK_BACK_S = 3
_OVER_S = 30.0
_AGREE_S = 5


class WiperStalled(TensRule):
    """Rule ``wiper-stalled``: it is driven with high torque and does not turn. Judged every second."""

    RULE = "wiper-stalled"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._episode = Episode(self.values["held_s"], _OVER_S)
        self._angles: list[float] = []  # of the last seconds in which it was driven
        self._last = (0, nan, nan)  # when it was last still, torque, pressure difference

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What each second says."""
        seen = self.stage.see(block)
        if len(seen.time_ns) == 0:
            return ()
        wiper = self.stage.at(seen.value, WIPER)
        torque = self.stage.at(seen.value, TORQUE)
        if not self._episode.standing and not self._episode.waits:
            driven = (wiper == WIPING) & (torque > self.values["torque_percent"])
            if not driven.any():
                self._angles = []
                return ()
        angle, dp = self.stage.at(seen.value, ANGLE), self.stage.dp_bar(seen.value)
        found: list[Finding | Blind] = []
        rows = zip(
            seen.time_ns.tolist(), wiper.tolist(), torque.tolist(), angle.tolist(), dp.tolist(), strict=True
        )
        for row in rows:
            found.extend(self._second(*row))
        return found

    def _second(
        self, time_ns: int, wiper: float, torque: float, angle: float, dp: float
    ) -> Iterable[Finding]:
        driven = wiper == WIPING and torque > self.values["torque_percent"]
        self._angles = [*self._angles, angle][-(_LOOK_BACK_S + 1) :] if driven else []
        still = len(self._angles) > _LOOK_BACK_S and not isnan(self._angles[0])
        still = still and _turned_deg(self._angles[0], angle) < self.values["turned_deg"]
        known = not (isnan(wiper) or isnan(torque))
        change = self._episode.judge(time_ns, still if known else None)
        if still:
            self._last = (time_ns, torque, dp)
        if change:
            yield self._said(time_ns, active=change > 0)

    def _said(self, time_ns: int, *, active: bool) -> Finding:
        _, torque, dp = self._last
        sentence = (
            f"The wiper is driven with {torque:.0f} % torque and does not turn; "
            f"the pressure difference is {dp:.0f} bar and goes on rising. What holds it is not known."
            if active
            else "The wiper is no longer driven against what held it. Whether it turns is not known yet."
        )
        figures = {"wiper torque": (torque, "%"), "pressure difference": (dp, "bar")} if active else {}
        tags = (WIPER, ANGLE, TORQUE, "filter.dp.calc")
        onset_ns = self._episode.onset_ns - _LOOK_BACK_S * NS if active else None
        return self.finding(
            "filter.wiper", active, time_ns, sentence, onset_ns=onset_ns, tags=tags, figures=figures
        )

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """Nothing more: each second is judged."""
        return ()

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "episode": self._episode.save(),
            "angles": [or_none(a) for a in self._angles],
            "last": [self._last[0], or_none(self._last[1]), or_none(self._last[2])],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._episode.restore(state["episode"])
        self._angles = [or_nan(a) for a in state["angles"]]
        time_ns, torque, dp = state["last"]
        self._last = (time_ns, or_nan(torque), or_nan(dp))


class WiperPark(TensRule):
    """Rule ``wiper-park``: at rest it does not stand in its park window, by angle and park sensor.

    Where the two contradict each other, the sensor is named and not the position.
    """

    RULE = "wiper-park"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._filter = facts.melt_filter if facts.melt_filter is not None else MeltFilter(plates=0)
        self._away = Episode(0.0, 0.0)
        self._sensor = Episode(self.values["sensor_s"], self.values["sensor_s"])
        self._rested = 0  # seconds at rest, one after the other
        self._lately: list[tuple[float, float]] = []  # angle and park sensor of the last seconds

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What each second says."""
        seen = self.stage.see(block)
        found: list[Finding | Blind] = [told for tens in seen.tens for told in self.judge(tens)]
        signals = (self.stage.at(seen.value, path) for path in (WIPER, ANGLE, PARK))
        rows = zip(seen.time_ns.tolist(), *(s.tolist() for s in signals), strict=True)
        for row in rows:
            found.extend(self._second(*row))
        return found

    def judge(self, tens: Tens) -> Iterable[Blind]:
        """Nothing but how long it could not be judged: each second is judged."""
        wiper, angle, park = (float(self.stage.at(tens.rows, p)[-1]) for p in (WIPER, ANGLE, PARK))
        known = not (isnan(wiper) or (isnan(angle) and isnan(park)))
        yield from self.blind.note(
            tens.time_ns, None if known else "neither its angle nor its park sensor is known"
        )

    def _second(self, time_ns: int, wiper: float, angle: float, park: float) -> Iterable[Finding]:
        self._lately = [*self._lately, (angle, park)][-_AGREE_S:]
        self._rested = self._rested + 1 if wiper == PARKED else 0
        rests = self._rested > self.values["rest_s"] and not (isnan(angle) and isnan(park))
        if not rests:
            self._away.judge(time_ns, None)
            self._sensor.judge(time_ns, None)
            return
        off_deg = _turned_deg(angle, self._filter.park_deg)
        contradict = self._contradict()
        away = park <= 0.5 if isnan(angle) else off_deg > self._filter.park_tolerance_deg
        change = self._away.judge(time_ns, away and not contradict and self._is_still())
        if change:
            yield self._said_away(time_ns, off_deg, active=change > 0)
        change = self._sensor.judge(time_ns, contradict)
        if change:
            yield self._said_sensor(time_ns, park, active=change > 0)

    def _is_still(self) -> bool:
        """Whether it has stood at one place throughout the last seconds: a start may be under way."""
        angles = [a for a, _ in self._lately if not isnan(a)]
        return not angles or (len(angles) == len(self._lately) and max(angles) - min(angles) < 1.0)

    def _contradict(self) -> bool:
        """Whether sensor and angle have contradicted each other throughout the last seconds."""
        if len(self._lately) < _AGREE_S or any(isnan(a) or isnan(p) for a, p in self._lately):
            return False
        park_deg, most_deg = self._filter.park_deg, self._filter.park_tolerance_deg
        return all((_turned_deg(a, park_deg) > most_deg) == (p > 0.5) for a, p in self._lately)

    def _said_away(self, time_ns: int, off_deg: float, *, active: bool) -> Finding:
        where = "its park sensor does not see it" if isnan(off_deg) else f"{off_deg:.0f} deg beside its park"
        sentence = (
            f"The wiper rests outside its park window ({where}); the outlet may be half covered, and melt "
            "that starts now meets it there."
            if active
            else "The wiper rests in its park window again."
        )
        figures = {"beside its park": (off_deg, "deg")} if active else {}
        tags = (WIPER, ANGLE, PARK)
        return self.finding("filter.wiper", active, time_ns, sentence, tags=tags, figures=figures)

    def _said_sensor(self, time_ns: int, park: float, *, active: bool) -> Finding:
        says = "sees the wiper" if park > 0.5 else "does not see the wiper"
        sentence = (
            f"The park sensor {says}, the angle says otherwise: one of the two is wrong, most "
            "likely the sensor."
            if active
            else "Park sensor and angle agree again."
        )
        onset_ns = self._sensor.onset_ns
        return self.finding(
            "filter.wiper.park", active, time_ns, sentence, onset_ns=onset_ns, tags=(WIPER, ANGLE, PARK)
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        kept = {"away": self._away.save(), "sensor": self._sensor.save(), "rested": self._rested}
        lately = [[or_none(a), or_none(p)] for a, p in self._lately]
        return {**super().save(), **kept, "lately": lately}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._away.restore(state["away"])
        self._sensor.restore(state["sensor"])
        self._rested = state["rested"]
        self._lately = [(or_nan(a), or_nan(p)) for a, p in state["lately"]]


def _turned_deg(a: float, b: float) -> float:
    """How far two angles are apart, 0 to 180 degrees; NaN when one is not known.

    Example:
        >>> _turned_deg(355.0, 5.0)
        10.0
    """
    return abs((a - b + 180.0) % 360.0 - 180.0)
