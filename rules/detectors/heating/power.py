"""Whether a heated zone gets the power that its controller asks for.

By current where it is known: too little flows though the controller asks. Else by three signs against the
zone's peers: a missing heating rate, no effect of full output; while heating up: far slower than they. All
compare a command with its consequence. A heater that has lost a part of its elements only, and several that
lost their current at once, have rules of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from process.heaters import missing_rate_k_min
from rules.detectors.heating.full_rates import full_rates_k_min
from rules.detectors.heating.together import lost_together
from rules.detectors.heating.zones import FULL_PERCENT, Flags, HoldOutput, ZoneRule, currents, others_hold
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.grid import array, numbers
from rules.seen.heat_tens import HeatTens
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S

_NEAR_WINDOWS = 18  # so long at the set-point: three minutes
_AT_SETPOINT_K = 3.0
_HEATING_UP_K = 15.0
_LAG_K = 4.0
_LAG_OF_SLOPE_K = 2.0
_BEYOND_PEERS_K = 3.0
_NO_EFFECT_K_MIN = 0.2
_FALLING_K_MIN = -0.5
_BEYOND_HOLD_PERCENT = 10.0
_PEERS_WARM_K_MIN = 1.0
_SLOW_SHARE = 0.4
_SLOW_WINDOWS = 30
_CLEAR_WINDOWS = 6
_LEAST_PEERS = 2
_LOOK_BACK_WINDOWS = 12  # the slope looks back two minutes
_JUMP_K = 20.0
_PAUSE_NS = int(3 * TENS_S * NS)


class Sign(IntEnum):
    """What shows that a zone lacks power; the numbers stand in saved states."""

    NONE = 0
    NO_CURRENT = 1
    MISSING_RATE = 2  # it ought to warm faster at this output
    NO_EFFECT = 3  # full output, and it does not warm
    SLOW = 4  # warms up far slower than its peers


class HeaterPower(ZoneRule):
    """Rule ``heater-power``: one finding a zone. Zones that were taken out of use are not judged."""

    RULE = "heater-power"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        values, size = self.values, len(self.zones)
        self._full_k_min = full_rates_k_min(facts, self.zones)
        self._hold = HoldOutput(size)
        self._armed = np.zeros(size, dtype=np.bool_)  # has been at its set-point since it last changed
        self._setpoint = np.full(size, np.nan)
        self._temp = np.full(size, np.nan)
        self._last_ns: int | None = None
        self._runs = np.zeros((len(Sign), size), dtype=np.int64)
        self._near_run = np.zeros(size, dtype=np.int64)
        self._flow_run = np.zeros(size, dtype=np.int64)
        self._sign = np.zeros(size, dtype=np.int64)  # of the standing finding
        self._shared = np.zeros(size, dtype=np.bool_)  # lost its current together with others
        held_s = (values["current_window_s"], values["residual_held_s"], values["slow_held_s"])
        needed = [np.inf, *(s / TENS_S for s in held_s), _SLOW_WINDOWS]
        self._needed: NDArray[np.float64] = np.ceil(needed)[:, None]

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say of each zone."""
        yield from self.blinded(tens)
        heat, values = tens.heat, self.values
        if self._last_ns is not None and heat.time_ns - self._last_ns > _PAUSE_NS:
            for runs in (self._runs, self._near_run, self._flow_run):
                runs[...] = 0
        self._last_ns = heat.time_ns
        self._hold.take(heat, self._sign > 0)
        self._arm(heat)
        known, none, flows = currents(heat, values["asked_percent"], values["current_share"])
        self._runs = np.where(self._signs(heat, known, none), self._runs + 1, 0)
        self._flow_run = np.where(flows, self._flow_run + 1, np.where(known, 0, self._flow_run))
        runs = self._runs[Sign.NO_CURRENT]
        self._shared = (self._shared & (runs > 0)) | lost_together(runs)
        if self._shared.any():
            self._shared |= runs > 0
        for zone in np.flatnonzero(self._begins()).tolist():
            yield self._begin(zone, heat)
        for zone in np.flatnonzero(self._ends(heat)).tolist():
            yield self._end(zone, heat)

    def _arm(self, heat: HeatTens) -> None:
        """A zone is judged as a holding one once it has held its set-point, until that changes.

        A reading that leaps is no heat: it must hold again.
        """
        near = heat.usable & (np.abs(heat.below_k) < _AT_SETPOINT_K)
        changed = np.abs(heat.setpoint_cel - self._setpoint) > 0.5
        changed |= np.abs(heat.temp_cel - self._temp) > _JUMP_K
        self._setpoint = np.where(np.isnan(heat.setpoint_cel), self._setpoint, heat.setpoint_cel)
        self._temp = np.where(np.isnan(heat.temp_cel), self._temp, heat.temp_cel)
        self._near_run = np.where(near & ~changed, self._near_run + 1, 0)
        cold = heat.usable & (heat.below_k > _HEATING_UP_K)
        peers = self.zones.peers
        together = (peers @ cold.astype(int) + 1) * 2 > peers @ heat.usable.astype(int) + 1
        lost = changed | (heat.in_use < 0.5) | (cold & together & peers.any(axis=1))
        self._armed = (self._armed & ~lost) | (self._near_run >= _NEAR_WINDOWS)

    def _signs(self, heat: HeatTens, known: Flags, none: Flags) -> Flags:
        """Which sign each zone shows in these ten seconds, shape (signs, zones)."""
        zones, usable, below, rate = self.zones, heat.usable, heat.below_k, heat.rate_k_min
        signs = np.zeros((len(Sign), len(zones)), dtype=np.bool_)
        signs[Sign.NO_CURRENT] = none
        seen = usable & ~known  # where current tells, the temperature need not
        if not seen.any():
            return signs
        full = seen & (heat.least_out >= FULL_PERCENT)
        lags = seen & self._armed & (below > _LAG_OF_SLOPE_K)
        if not (full.any() or lags.any()):
            return signs
        rated = usable & ~np.isnan(rate)
        peers = zones.peers @ rated.astype(int) >= _LEAST_PEERS
        if lags.any():
            signs[Sign.MISSING_RATE] = lags & peers & self._misses_rate(heat)
        if not full.any():
            return signs
        heating = full & (below > _HEATING_UP_K)
        pace = zones.of_peers(rate, heating)
        many = (zones.peers @ heating.astype(int) >= _LEAST_PEERS) & (pace > _PEERS_WARM_K_MIN)
        signs[Sign.SLOW] = ~self._armed & heating & zones.alike & many & (rate < _SLOW_SHARE * pace)
        alone = below - zones.of_peers(below, usable) > _BEYOND_PEERS_K
        no_effect = full & (rate <= _NO_EFFECT_K_MIN) & (below > _LAG_K)
        signs[Sign.NO_EFFECT] = self._armed & no_effect & (alone | ~peers)
        return signs

    def _misses_rate(self, heat: HeatTens) -> Flags:
        """Which zones sink away from their peers while asked for more than what held them."""
        rate, hold, usable = heat.rate_k_min, self._hold.percent, heat.usable
        missing = missing_rate_k_min(heat.out, hold, self._full_k_min, rate)
        beyond = missing - self.zones.of_peers(missing, usable) > self.values["residual_k_min"]
        sinks = rate - self.zones.of_peers(rate, usable) < _FALLING_K_MIN
        asked: Flags = heat.out > hold + _BEYOND_HOLD_PERCENT
        return beyond & sinks & asked

    def _begins(self) -> Flags:
        seen = self._runs >= self._needed
        begins: Flags = seen.any(axis=0) & (self._sign == 0) & ~self._shared
        self._sign = np.where(begins, np.argmax(seen, axis=0), self._sign)
        return begins

    def _ends(self, heat: HeatTens) -> Flags:
        gone = self._runs[self._sign, np.arange(len(self._sign))] == 0
        by_current = (self._sign == Sign.NO_CURRENT) & (self._flow_run >= _CLEAR_WINDOWS)
        by_temp = (self._sign > Sign.NO_CURRENT) & (self._near_run >= _NEAR_WINDOWS)
        ends: Flags = (self._sign > 0) & gone & (by_current | by_temp | (heat.in_use < 0.5))
        return ends

    def _begin(self, zone: int, heat: HeatTens) -> Finding:
        sign = Sign(self._sign[zone])
        windows = int(self._runs[sign, zone])
        if sign is not Sign.NO_CURRENT:
            windows += _LOOK_BACK_WINDOWS
        self._flow_run[zone] = self._near_run[zone] = 0
        name, seen = self.zones.names[zone], _state(zone, heat)
        asked = f"although the controller asks for {heat.out[zone]:.0f} %"
        if sign is Sign.NO_CURRENT:
            amps = np.fmin(heat.current_a[zone], heat.on_a[zone])
            flows = "no heater current" if amps < 0.1 * heat.usual_a[zone] else f"only {amps:.1f} A flows"
            what = f"{name} is losing heat: {flows} {asked}" + (f"; {seen}" if seen else "")
        elif sign is Sign.SLOW:
            what = f"{name} warms up far slower than its peers, {seen}, {asked}; {_UNMEASURED}"
        else:
            what = f"{name} is losing heat: {seen}, {asked}; {_UNMEASURED}"
        sentence = f"{what}. {others_hold(self, zone, heat)}"
        return self._said(zone, heat, sentence, windows, active=True)

    def _end(self, zone: int, heat: HeatTens) -> Finding:
        name, sign = self.zones.names[zone], Sign(self._sign[zone])
        self._sign[zone] = Sign.NONE
        if heat.in_use[zone] < 0.5:
            sentence = f"{name} was taken out of use."
        elif sign is Sign.NO_CURRENT:
            sentence = f"{name} draws current again."
        else:
            sentence = f"{name} has been back at its set-point for three minutes."
        return self._said(zone, heat, sentence, 0, active=False)

    def _said(self, zone: int, heat: HeatTens, sentence: str, windows: int, *, active: bool) -> Finding:
        found = self.finding(
            self.zones.subjects[zone],
            active,
            heat.time_ns,
            sentence,
            onset_ns=heat.time_ns - int(windows * TENS_S * NS),
            tags=self.zones.tags(zone),
            figures=self.figures(zone, heat),
        )
        # A person wants to see the course before: at least what the slope looks at.
        shown_ns = min(found.onset_ns, heat.time_ns - int(_LOOK_BACK_WINDOWS * TENS_S * NS))
        return replace(found, evidence=replace(found.evidence, start_ns=shown_ns))

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "hold": self._hold.save(),
            "armed": self._armed.tolist(),
            "setpoint": numbers(self._setpoint),
            "temp": numbers(self._temp),
            "last": self._last_ns,
            "runs": self._runs.tolist(),
            "near": self._near_run.tolist(),
            "flow": self._flow_run.tolist(),
            "sign": self._sign.tolist(),
            "shared": self._shared.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._hold.restore(state["hold"])
        self._armed = np.asarray(state["armed"], dtype=np.bool_)
        self._setpoint, self._temp = array(state["setpoint"]), array(state["temp"])
        self._last_ns = state["last"]
        self._runs = np.asarray(state["runs"], dtype=np.int64)
        self._near_run = np.asarray(state["near"], dtype=np.int64)
        self._flow_run = np.asarray(state["flow"], dtype=np.int64)
        self._sign = np.asarray(state["sign"], dtype=np.int64)
        self._shared = np.asarray(state["shared"], dtype=np.bool_)


_UNMEASURED = "no current is measured, so lost heater power and a sagging sensor cannot be told apart"


def _state(zone: int, heat: HeatTens) -> str:
    """How far below its set-point a zone is, and how it goes."""
    # Rounded as the figures are, so that the sentence says what they say.
    below, rate = round(float(heat.below_k[zone]), 2), heat.rate_k_min[zone]
    parts = [
        "" if np.isnan(below) else f"{below:.1f} K below set-point",
        "" if np.isnan(rate) else f"{rate:+.1f} K/min",
    ]
    return ", ".join(p for p in parts if p)
