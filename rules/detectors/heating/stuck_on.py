"""Whether a heater heats though its controller asks for nothing: a relay that sticks.

With current: it flows at no output, or without a pause at part output. This needs currents that have been
seen to pause, for some lines send what flowed last while the heater was on. Without: the zone warms above its
set-point at no output, faster than its peers. A barrel zone that the screw's work overheats draws no current,
and its peers warm with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from historian.frame import NS
from rules.detectors.heating.zones import NEAR_K, Flags, ZoneRule
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.heat_tens import HeatTens
from rules.seen.stage import Stage, Tens

_NO_OUTPUT = 1.0
_LEAST_A = 0.3
_ASKS_AGAIN = 5.0
# What flows at part output shows it when no pause was seen in so many windows that together should have held
# so much of it: at nearly full output each holds little. Derived here.
_PART_WINDOWS = 3
_PAUSE_S = 5.0
_SENT_ON_CHANGE_S = 3.0
_SWITCHES_WINDOWS = 3
_TENS_S = 10.0


class HeaterStuckOn(ZoneRule):
    """Rule ``heater-stuck-on``."""

    RULE = "heater-stuck-on"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        size = len(self.zones)
        self._idle_run = np.zeros(size, dtype=np.int64)  # tens without output
        self._warm_run = np.zeros(size, dtype=np.int64)
        self._clear_run = np.zeros(size, dtype=np.int64)
        self._standing = np.zeros(size, dtype=np.bool_)
        self._part_run = np.zeros(size, dtype=np.int64)  # tens of current without a pause, at part output
        self._pause_s = np.zeros(size)  # how long it should have paused meanwhile
        self._both_run = np.zeros(size, dtype=np.int64)  # tens in which current both flowed and paused
        self._switches = np.zeros(size, dtype=np.bool_)  # its current has been seen to come and go

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say of each zone."""
        yield from self.blinded(tens)
        heat = tens.heat
        idle = heat.most_out < _NO_OUTPUT
        self._idle_run = np.where(idle, self._idle_run + 1, 0)
        least_a = np.where(
            np.isnan(heat.usual_a),
            _LEAST_A,
            np.maximum(self.values["current_share"] * heat.usual_a, _LEAST_A),
        )
        # A heater that fails stops once; one that is switched flows and pauses in every ten seconds.
        both = (heat.least_a < _LEAST_A) & (heat.current_a > least_a) & (heat.out > _NO_OUTPUT)
        self._both_run = np.where(both, self._both_run + 1, 0)
        self._switches |= self._both_run >= _SWITCHES_WINDOWS
        # That currents are seen to pause at all, its peers show too.
        pauses = self._switches | (self.zones.peers & self._switches).any(axis=1)
        measured = pauses & ~np.isnan(heat.current_a)
        part = (heat.least_out > _NO_OUTPUT) & (heat.most_out < self.values["part_percent"])
        ceaseless = measured & part & (heat.least_a > least_a)
        asked_s = _TENS_S * (1.0 - heat.most_out / 100.0)
        # A pause that is shorter than the time between two samples may lie there. A current that is sent when
        # it changes tells each, but a short one may be passed over.
        ceaseless &= asked_s > np.where(heat.unseen_s < _TENS_S, heat.unseen_s, _SENT_ON_CHANGE_S)
        self._part_run = np.where(ceaseless, self._part_run + 1, 0)
        self._pause_s = np.where(ceaseless, self._pause_s + asked_s, 0.0)
        # The first ten seconds may hold the end of a switching period that was asked for; and a controller
        # that asks for half a percent lets it flow for a moment, a relay that sticks all the time.
        flows = measured & (self._idle_run > 1) & (heat.least_a > least_a)
        unmeasured = idle & ~measured
        warms = unmeasured & self._warms(heat) if unmeasured.any() else unmeasured
        self._warm_run = np.where(warms, self._warm_run + 1, 0)
        flows |= (self._part_run >= _PART_WINDOWS) & (self._pause_s >= _PAUSE_S)
        warm = self._warm_run * _TENS_S >= self.values["held_s"]
        off = measured & ~flows & (heat.least_a < least_a) & (heat.most_out < self.values["part_percent"])
        asks = ~measured & (heat.out > _ASKS_AGAIN) & (np.abs(heat.below_k) < NEAR_K)
        self._clear_run = np.where(off | asks, self._clear_run + 1, 0)
        begins = (flows | warm) & ~self._standing
        over = self._standing & (self._clear_run * _TENS_S >= self.values["clear_s"])
        self._standing = (self._standing | begins) & ~over
        for zone in np.flatnonzero(begins | over).tolist():
            yield self._said(zone, heat, active=bool(begins[zone]), by_current=bool(flows[zone]))

    def _warms(self, heat: HeatTens) -> Flags:
        rate = heat.rate_k_min
        peers = self.zones.of_peers(rate, heat.usable)
        alone = np.isnan(peers) | (rate - peers > self.values["warming_k_min"] / 2)
        hot = -heat.below_k > self.values["above_k"]
        warms: Flags = heat.usable & (rate > self.values["warming_k_min"]) & alone & hot
        return warms

    def _said(self, zone: int, heat: HeatTens, *, active: bool, by_current: bool) -> Finding:
        name = self.zones.names[zone]
        above, rate = -heat.below_k[zone], heat.rate_k_min[zone]
        warming = "" if np.isnan(rate) else f", {rate:+.1f} K/min"
        asked = "nothing" if heat.out[zone] < _NO_OUTPUT else f"{heat.out[zone]:.0f} %"
        side = "above" if above >= 0 else "below"
        where = "" if np.isnan(above) else f"; it is {abs(above):.1f} K {side} its set-point{warming}"
        if not active:
            sentence = f"{name} draws current only when it is asked for again."
            if np.isnan(heat.current_a[zone]):
                sentence = f"{name} follows its controller again."
        elif by_current:
            sentence = (
                f"{name} heats without a pause although its controller asks for {asked}: "
                f"{heat.current_a[zone]:.1f} A flow{where}. How hot it gets depends on its limiter alone; "
                "whether that works is not known."
            )
        else:
            sentence = (
                f"{name} warms although its controller asks for nothing{where}, and its peers do not. "
                "No current is measured, so whether its relay sticks is not proven."
            )
        windows = max(int(self._idle_run[zone]), int(self._part_run[zone]), 1) if active else 0
        onset_ns = heat.time_ns - windows * int(_TENS_S * NS)
        return self.finding(
            self.zones.subjects[zone],
            active,
            heat.time_ns,
            sentence,
            onset_ns=onset_ns,
            tags=self.zones.tags(zone),
            figures=self.figures(zone, heat),
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {
            **super().save(),
            "idle": self._idle_run.tolist(),
            "warm": self._warm_run.tolist(),
            "clear": self._clear_run.tolist(),
            "part": self._part_run.tolist(),
            "pause": self._pause_s.tolist(),
            "both": self._both_run.tolist(),
            "standing": self._standing.tolist(),
            "switches": self._switches.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._idle_run, self._warm_run, self._clear_run, self._part_run, self._both_run = (
            np.asarray(state[k], dtype=np.int64) for k in ("idle", "warm", "clear", "part", "both")
        )
        self._pause_s = np.asarray(state["pause"], dtype=np.float64)
        self._standing = np.asarray(state["standing"], dtype=np.bool_)
        self._switches = np.asarray(state["switches"], dtype=np.bool_)
