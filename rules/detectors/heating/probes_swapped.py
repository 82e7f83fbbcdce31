"""Whether the thermocouples of two zones are swapped: each shows what the other's heater does.

Then no zone is controlled: what one asks for warms the other's reading. The one that reads low is heated
without end and falls all the same, for the other, which reads high, is no longer heated; and it rises. Both
heaters draw, or do not draw, what is asked for: so it is neither a burnt-out heater nor a stuck relay.

Derived here. Barrel zones are judged only while no melt runs, for the screw warms and cold material cools
them; a line whose heater currents are not measured is not judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from historian.frame import NS
from rules.detectors.heating.zones import FULL_PERCENT, Flags, Floats, ZoneRule, sound_current
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episodes
from rules.seen.grid import array, numbers
from rules.seen.heat import KINDS
from rules.seen.heat_tens import HeatTens
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S

_NO_OUTPUT = 1.0
_NO_CURRENT_SHARE = 0.1
_BARREL = "extruder.zone"


class ProbesSwapped(ZoneRule):
    """Rule ``probes-swapped``: told of the zone that is heated without end, naming the other."""

    RULE = "probes-swapped"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        self.episodes = Episodes(0, self.values["clear_s"])
        size = len(self.zones)
        self._barrel = np.asarray([KINDS[k].prefix == _BARREL for k in self.zones.kind], dtype=np.bool_)
        self._run = np.zeros((2, size), dtype=np.int64)  # tens at full output, and without any
        self._from_cel = np.full((2, size), np.nan)  # what each read when that began
        self._other = np.full(size, -1, dtype=np.intp)

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say of each pair."""
        heat = tens.heat
        yield from self.blinded(tens)
        judged = heat.usable & ~heat.settling
        if tens.line.running is not False:
            judged &= ~self._barrel
        asks = judged & (heat.least_out > FULL_PERCENT) & sound_current(heat)
        rests = judged & (heat.most_out < _NO_OUTPUT)
        rests &= heat.current_a < _NO_CURRENT_SHARE * heat.usual_a
        for n, now in enumerate((asks, rests)):
            self._from_cel[n] = np.where(self._run[n] == 0, heat.temp_cel, self._from_cel[n])
            self._run[n] = np.where(now, self._run[n] + 1, 0)
        long = self._run * TENS_S >= self.values["held_s"]
        moved_k = (self._from_cel[0] - heat.temp_cel, heat.temp_cel - self._from_cel[1])
        holds = self._pairs(*(np.where(at, k, -np.inf) for at, k in zip(long, moved_k, strict=True)))
        for zone in np.flatnonzero(self.standing() & ~holds).tolist():
            holds[zone] = asks[zone] and rests[self._other[zone]]
        for zone, begins in self.changes(heat, holds, heat.usable):
            yield self._said(zone, heat, begins=begins)

    def _pairs(self, fallen_k: Floats, risen_k: Floats) -> Flags:
        """The zones that fall while one other of their kind rises; of more than two, none can be named.

        A third that has gone half as far may be one of the two.
        """
        limit_k = self.values["moved_k"]
        found = np.zeros(len(self.zones), dtype=np.bool_)
        for zone in np.flatnonzero(fallen_k > limit_k).tolist():
            alike = self.zones.kind == self.zones.kind[zone]
            others = np.flatnonzero(alike & (risen_k > limit_k / 2))
            alone = int((alike & (fallen_k > limit_k / 2)).sum()) == 1
            if alone and len(others) == 1 and risen_k[others[0]] > limit_k:
                found[zone], self._other[zone] = True, others[0]
        return found

    def _said(self, zone: int, heat: HeatTens, *, begins: bool) -> Finding:
        other = int(self._other[zone])
        one, two = self.zones.names[zone], self.zones.names[other].lower()
        sentence = f"{one} and {two} follow their controllers again."
        minutes = float(min(self._run[0, zone], self._run[1, other])) * TENS_S / 60
        if begins:
            fallen = self._from_cel[0, zone] - heat.temp_cel[zone]
            risen = heat.temp_cel[other] - self._from_cel[1, other]
            sentence = (
                f"{one} has read {fallen:.0f} K less within {minutes:.0f} min at full output and full "
                f"current, and {two} {risen:.0f} K more without any: each seems to show the other's heat, as "
                f"when their thermocouples are swapped. How hot {one.lower()} is, is not known; it is heated "
                "without end."
            )
        figures = {
            **self.figures(zone, heat),
            "the other's temperature": (float(heat.temp_cel[other]), "Cel"),
            "the other's controller output": (float(heat.out[other]), "%"),
        }
        return self.finding(
            self.zones.subjects[zone],
            begins,
            heat.time_ns,
            sentence,
            onset_ns=heat.time_ns - int(minutes * 60 * NS) if begins else None,
            tags=(*self.zones.tags(zone, other), f"{self.zones.subjects[other]}.temp.pv"),
            figures=figures,
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "run": self._run.tolist(),
            "from": [numbers(r) for r in self._from_cel],
            "other": self._other.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._run = np.asarray(state["run"], dtype=np.int64)
        self._from_cel = np.asarray([array(r) for r in state["from"]])
        self._other = np.asarray(state["other"], dtype=np.intp)
