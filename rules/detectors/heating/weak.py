"""Whether a heater has lost a part of its elements: it still holds its set-point, but has no reserve.

By current where it is known: while on it draws less than it ought to, and the other heaters do not. Else by
its need: it takes far more output at its set-point than usual while its neighbours take as much as ever; or,
while heating up, it goes slower than its peers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from historian.frame import NS
from rules.detectors.heating.usual_output import UsualOutput, points
from rules.detectors.heating.zones import FULL_PERCENT, Flags, Floats, ZoneRule
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episodes
from rules.seen.grid import array, numbers
from rules.seen.heat_tens import HeatTens
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S

_HEATING_UP_K = 15.0
_PACE_HELD_S = 600.0
_PEERS_WARM_K_MIN = 1.0
_LEAST_PEERS = 2
_NEIGHBOURS_PERCENT = 4.0
_LEAST_OUT = 10.0


class HeaterWeak(ZoneRule):
    """Rule ``heater-weak``."""

    RULE = "heater-weak"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        self.episodes = Episodes(0, self.values["clear_s"])
        self._usual = UsualOutput(self.zones)
        self._low_run = np.zeros(len(self.zones), dtype=np.int64)  # tens of too little current
        self._pace_run = np.zeros(len(self.zones), dtype=np.int64)
        self._keeps_pace = np.zeros(len(self.zones), dtype=np.bool_)
        self._needy = np.zeros(len(self.zones), dtype=np.bool_)
        self._needs_no_more = np.zeros(len(self.zones), dtype=np.bool_)
        # How the standing finding was seen:
        self._by_current = np.zeros(len(self.zones), dtype=np.bool_)
        self._by_pace = np.zeros(len(self.zones), dtype=np.bool_)
        self._share = np.full(len(self.zones), np.nan)

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say of each zone."""
        yield from self.blinded(tens)
        heat = tens.heat
        share = self._of_usual_current(heat)
        measured = ~np.isnan(share)
        low = measured & (share < self.values["current_share"]) & (share >= self.values["power_share"])
        # A heater is off now and then, and its current not known: that neither proves nor disproves.
        self._low_run = np.where(low, self._low_run + 1, np.where(measured, 0, self._low_run))
        lacks = low & (self._low_run > self.values["held_s"] / TENS_S)
        holds = lacks | (~measured & (self._warms_slowly(heat) | self._needs_more(heat, tens)))
        self._share = np.where(measured, share, self._share)
        # Without a current that is known now, what was seen stands until its own sign says otherwise.
        disproved = np.where(self._by_pace, self._keeps_pace, self._needs_no_more) & ~self._by_current
        known = measured | holds | disproved
        for zone, begins in self.changes(heat, holds, known):
            sentence = self._begun(zone, heat, by_current=bool(low[zone])) if begins else self._over(zone)
            self._by_current[zone] = begins and bool(low[zone])
            self._by_pace[zone] = begins and bool(self._pace_run[zone])
            windows = int(max(self._low_run[zone], self._pace_run[zone])) if begins else 0
            yield self.finding(
                self.zones.subjects[zone],
                begins,
                heat.time_ns,
                sentence,
                onset_ns=heat.time_ns - int(windows * TENS_S * NS),
                tags=self.zones.tags(zone),
                figures=self.figures(zone, heat, self._usual.base),
            )

    def _of_usual_current(self, heat: HeatTens) -> Floats:
        """Each heater's current as a share of what it ought to draw, with the supply's sag taken out."""
        share = np.where(heat.usable, heat.on_a / heat.usual_a, np.nan)
        known = np.sort(share[~np.isnan(share)])
        if len(known) > _LEAST_PEERS:
            # The upper quartile: many weak heaters are still weak.
            share = share / min(1.0, float(known[(3 * len(known)) // 4]))
        return share

    def _warms_slowly(self, heat: HeatTens) -> Flags:
        zones = self.zones
        heating = heat.usable & (heat.least_out >= FULL_PERCENT) & (heat.below_k > _HEATING_UP_K)
        if not heating.any():
            self._pace_run[:] = 0
            self._keeps_pace[:] = False
            return heating
        pace = zones.of_peers(heat.rate_k_min, heating)
        many = (zones.peers @ heating.astype(int) >= _LEAST_PEERS) & (pace > _PEERS_WARM_K_MIN)
        slow = heating & zones.alike & many & (heat.rate_k_min < self.values["pace_share"] * pace)
        self._pace_run = np.where(slow, self._pace_run + 1, 0)
        self._keeps_pace = heating & many & (heat.rate_k_min > (1 + self.values["pace_share"]) / 2 * pace)
        seen: Flags = self._pace_run * TENS_S >= _PACE_HELD_S
        return seen

    def _needs_more(self, heat: HeatTens, tens: Tens) -> Flags:
        if self._usual.take(heat, tens.line):
            usual = self._usual
            more = usual.base + usual.shift
            steady = usual.near_points >= points(self.values["duty_held_s"])
            neighbours = np.abs(self.zones.of_neighbours(usual.shift)) < _NEIGHBOURS_PERCENT
            ratio = more / np.maximum(usual.base, _LEAST_OUT)
            self._needy = steady & neighbours & (ratio > self.values["duty_ratio"])
            self._needs_no_more = (usual.near_points > 0) & (ratio < (1 + self.values["duty_ratio"]) / 2)
        return self._needy

    def _begun(self, zone: int, heat: HeatTens, *, by_current: bool) -> str:
        name = self.zones.names[zone]
        if by_current:
            return (
                f"{name} draws {heat.on_a[zone]:.1f} A while on, {100 * self._share[zone]:.0f} % of the "
                f"{heat.usual_a[zone]:.1f} A that it ought to, and the other heaters draw theirs: a part of "
                "its elements is out. It may still hold its set-point, with little in reserve."
            )
        if self._pace_run[zone]:
            return (
                f"{name} warms up at {heat.rate_k_min[zone]:.1f} K/min, its peers faster, all at full "
                "output: a part of its elements may be out. No current is measured to prove it."
            )
        base, now = self._usual.base[zone], self._usual.base[zone] + self._usual.shift[zone]
        return (
            f"{name} needs {now:.0f} % to hold its set-point, where {base:.0f} % held it; its neighbours "
            "need what they did: a part of its elements may be out. No current is measured to prove it."
        )

    def _over(self, zone: int) -> str:
        return f"{self.zones.names[zone]} shows its full power again."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "usual": self._usual.save(),
            "low": self._low_run.tolist(),
            "pace": self._pace_run.tolist(),
            "needy": self._needy.tolist(),
            "over": self._needs_no_more.tolist(),
            "by_current": self._by_current.tolist(),
            "by_pace": self._by_pace.tolist(),
            "share": numbers(self._share),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._usual.restore(state["usual"])
        self._low_run = np.asarray(state["low"], dtype=np.int64)
        self._pace_run = np.asarray(state["pace"], dtype=np.int64)
        self._needy = np.asarray(state["needy"], dtype=np.bool_)
        self._needs_no_more = np.asarray(state["over"], dtype=np.bool_)
        self._by_current = np.asarray(state["by_current"], dtype=np.bool_)
        self._by_pace = np.asarray(state["by_pace"], dtype=np.bool_)
        self._share = array(state["share"])
