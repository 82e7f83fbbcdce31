"""Whether a heated zone gets the power that its controller asks for.

Three independent signs, each judged against the zone's peers: no current, a missing heating rate, no effect
of full output; while heating up: far slower than its peers. All compare a command with its consequence.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from historian.tags import Tag
from process.heaters import missing_rate_k_min
from rules.block import Block
from rules.detectors.heating.words import AT_SETPOINT_K, Sign, began, ended, supply_lost
from rules.detectors.heating.zones import (
    ENDINGS,
    WINDOW_S,
    Flags,
    Learner,
    ZoneGroup,
    ZoneTens,
    full_output,
    median_where,
)
from rules.finding import Evidence, Finding
from rules.line import LineFacts
from rules.seen.grid import array, numbers
from rules.seen.stage import Stage, Tens
from rules.table.settings import Values, values_of

RULE = "heater-power"

_NEAR_WINDOWS = 18  # so long at the set-point: three minutes
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
_SUPPLY_WINDOWS = 3
_LEAST_PEERS = 2
_LOOK_BACK_S = 120.0


class HeaterPower:
    """Rule ``heater-power``: one finding a zone, or one a group when none of its zones gets current.

    Zones that were taken out of use are not judged.
    """

    rule = RULE

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> None:
        values = values_of(facts, RULE)
        self._stage = stage
        self._watches = [_GroupWatch(group, values, stage) for group in zone_groups(facts, tags)]

    def update(self, block: Block) -> Sequence[Finding]:
        """What the samples say of each zone."""
        tens = self._stage.see(block).tens
        return [f for watch in self._watches for ten in tens for f in watch.take(ten)]

    def advance(self, now_ns: int) -> Sequence[Finding]:
        """Nothing: missing samples are not this rule's affair."""
        return ()

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {watch.group.prefix: watch.save() for watch in self._watches}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        for watch in self._watches:
            watch.restore(state[watch.group.prefix])


def zone_groups(facts: LineFacts, tags: Mapping[str, Tag]) -> list[ZoneGroup]:
    """The line's heated zones that have a temperature and an output, by kind."""
    values = values_of(facts, RULE)
    plate_a = facts.melt_filter.heater_a if facts.melt_filter is not None else None
    told = float("nan") if plate_a is None else plate_a
    kinds = (
        ("filter.plate", "Plate", values["plate_full_k_min"], told, True),
        ("extruder.zone", "Barrel zone", values["barrel_full_k_min"], float("nan"), False),
        ("die.zone", "Die zone", values["die_full_k_min"], float("nan"), False),
    )
    groups = []
    for prefix, word, rate, nominal, alike in kinds:
        found = (re.fullmatch(re.escape(prefix) + r"\.(\d+)\.temp\.pv", path) for path in tags)
        places = sorted(int(m.group(1)) for m in found if m and f"{prefix}.{m.group(1)}.out" in tags)
        if places:
            groups.append(ZoneGroup(prefix, word, tuple(places), rate, nominal, alike))
    return groups


class _GroupWatch:
    """One group of zones: how long each sign has been seen, and which zones have a finding."""

    def __init__(self, group: ZoneGroup, values: Values, stage: Stage) -> None:
        self.group, self._values = group, values
        self._column = group.columns(stage.column)
        self._paths = stage.paths
        zones = len(group.places)
        self._learner = Learner(zones, group.nominal_a)
        self._armed = np.zeros(zones, dtype=np.bool_)  # has been at its set-point since it last changed
        self._setpoint = np.full(zones, np.nan)
        self._last_ns: int | None = None
        self._sign_runs = np.zeros((len(Sign), zones), dtype=np.int64)
        self._near_run = np.zeros(zones, dtype=np.int64)
        self._flow_run = np.zeros(zones, dtype=np.int64)
        self._sign = np.zeros(zones, dtype=np.int64)  # of the standing finding
        self._supply_run = 0  # windows without any current; below zero: with it again
        self._supply_lost = False
        held_s = (values["current_window_s"], values["residual_held_s"], values["slow_held_s"])
        needed = [np.inf, *(s / WINDOW_S for s in held_s), _SLOW_WINDOWS]
        self._needed: NDArray[np.float64] = np.ceil(needed)[:, None]

    def take(self, tens: Tens) -> list[Finding]:
        return self._judge(ZoneTens.of(tens.time_ns, tens.rows, self._column))

    def _judge(self, tens: ZoneTens) -> list[Finding]:
        if self._last_ns is not None and tens.time_ns - self._last_ns > 3 * WINDOW_S * NS:
            self._supply_run = 0
            for runs in (self._sign_runs, self._near_run, self._flow_run):
                runs[...] = 0
        self._last_ns = tens.time_ns
        self._learner.take(tens, self._values["asked_percent"], self._sign > 0)
        self._arm(tens)
        asks, none, flows = self._currents(tens)
        self._sign_runs = np.where(self._signs(tens, none, asks), self._sign_runs + 1, 0)
        self._flow_run = np.where(flows, self._flow_run + 1, np.where(asks, 0, self._flow_run))
        found = [self._begin(z, tens) for z in np.flatnonzero(self._begins()).tolist()]
        found += [self._end(z, tens) for z in np.flatnonzero(self._ends(tens)).tolist()]
        return found + self._supply(tens, asks, none, flows)

    def _arm(self, tens: ZoneTens) -> None:
        """A zone is judged as a holding one once it has held its set-point, until that changes."""
        near = tens.usable & (np.abs(tens.below_k) < AT_SETPOINT_K)
        changed = np.abs(tens.setpoint_cel - self._setpoint) > 0.5
        self._setpoint = np.where(np.isnan(tens.setpoint_cel), self._setpoint, tens.setpoint_cel)
        self._near_run = np.where(near & ~changed, self._near_run + 1, 0)
        cold = tens.usable & (tens.below_k > _HEATING_UP_K)
        together = np.sum(cold) > np.sum(tens.usable) / 2 and len(cold) > 1
        lost = changed | (tens.in_use < 0.5) | (cold & together)
        self._armed = (self._armed & ~lost) | (self._near_run >= _NEAR_WINDOWS)

    def _currents(self, tens: ZoneTens) -> tuple[Flags, Flags, Flags]:
        """Which zones ask for heat and have their current known, which of them get none, which get it."""
        asks = tens.usable & (tens.least_out > self._values["asked_percent"]) & ~np.isnan(tens.current_a)
        least_a = self._values["current_share"] * self._learner.nominal_a
        return asks, asks & (tens.current_a < least_a), asks & (tens.current_a >= 2 * least_a)

    def _signs(self, tens: ZoneTens, none: Flags, asks: Flags) -> Flags:
        """Which sign each zone shows in these ten seconds, shape (signs, zones)."""
        usable, below, rate = tens.usable, tens.below_k, self._learner.rate_k_min
        full = usable & full_output(tens)
        signs = np.zeros((len(Sign), len(usable)), dtype=np.bool_)
        # When most of those that ask get nothing, it is the supply or the measurement, not one zone.
        others_flow = int(np.sum(asks & ~none)) >= int(np.sum(none)) - 1
        signs[Sign.NO_CURRENT] = none & (others_flow if np.sum(asks) > 1 else True)
        peers = int(np.sum(usable & ~np.isnan(rate))) > _LEAST_PEERS
        if peers:
            signs[Sign.MISSING_RATE] = self._armed & usable & self._misses_rate(tens)
            heating = full & (below > _HEATING_UP_K)
            pace = median_where(rate, heating)
            if self.group.alike and np.sum(heating) > _LEAST_PEERS and pace > _PEERS_WARM_K_MIN:
                signs[Sign.SLOW] = ~self._armed & heating & (rate < _SLOW_SHARE * pace)
        alone = below - median_where(below, usable) > _BEYOND_PEERS_K if peers else np.ones_like(usable)
        no_effect = full & (rate <= _NO_EFFECT_K_MIN) & (below > _LAG_K)
        signs[Sign.NO_EFFECT] = self._armed & no_effect & alone
        return signs

    def _misses_rate(self, tens: ZoneTens) -> Flags:
        """Which zones sink away from their peers while asked for more than what held them."""
        rate, hold, usable = self._learner.rate_k_min, self._learner.hold_percent, tens.usable
        missing = missing_rate_k_min(tens.out, hold, self.group.full_k_min, rate)
        beyond = missing - median_where(missing, usable) > self._values["residual_k_min"]
        sinks = rate - median_where(rate, usable) < _FALLING_K_MIN
        asked: Flags = tens.out > hold + _BEYOND_HOLD_PERCENT
        return beyond & sinks & asked & (tens.below_k > _LAG_OF_SLOPE_K)

    def _begins(self) -> Flags:
        seen = self._sign_runs >= self._needed
        begins: Flags = seen.any(axis=0) & (self._sign == 0) & ~np.asarray(self._supply_lost)
        self._sign = np.where(begins, np.argmax(seen, axis=0), self._sign)
        return begins

    def _ends(self, tens: ZoneTens) -> Flags:
        gone = self._sign_runs[self._sign, np.arange(len(self._sign))] == 0
        by_current = (self._sign == Sign.NO_CURRENT) & (self._flow_run >= _CLEAR_WINDOWS)
        by_temp = (self._sign > Sign.NO_CURRENT) & (self._near_run >= _NEAR_WINDOWS)
        ends: Flags = (self._sign > 0) & gone & (by_current | by_temp | (tens.in_use < 0.5))
        return ends

    def _supply(self, tens: ZoneTens, asks: Flags, none: Flags, flows: Flags) -> list[Finding]:
        """Whether none of the group's zones gets current, or some do again."""
        asking = int(np.sum(asks))
        if asking > _LEAST_PEERS and none[asks].all() and self._armed.any():
            self._supply_run = max(self._supply_run, 0) + 1
        elif 2 * np.sum(flows) > asking:
            self._supply_run = min(self._supply_run, 0) - 1
        if not self._supply_lost and self._supply_run >= _SUPPLY_WINDOWS:
            self._supply_lost = True
            return [self._finding(None, tens, supply_lost(self.group, asking), self._supply_run, active=True)]
        if self._supply_lost and self._supply_run <= -_CLEAR_WINDOWS:
            self._supply_lost = False
            again = f"{self.group.word}s draw current again."
            return [self._finding(None, tens, again, 0, active=False)]
        return []

    def _begin(self, zone: int, tens: ZoneTens) -> Finding:
        sign = Sign(self._sign[zone])
        windows = int(self._sign_runs[sign, zone])
        if sign is not Sign.NO_CURRENT:
            windows += int(_LOOK_BACK_S / WINDOW_S)  # the slope looks back so far
        self._flow_run[zone] = self._near_run[zone] = 0
        sentence = began(self.group, zone, sign, tens, self._learner)
        return self._finding(zone, tens, sentence, windows, active=True)

    def _end(self, zone: int, tens: ZoneTens) -> Finding:
        sentence = ended(self.group, zone, Sign(self._sign[zone]), tens)
        self._sign[zone] = Sign.NONE
        return self._finding(zone, tens, sentence, 0, active=False)

    def _finding(
        self, zone: int | None, tens: ZoneTens, sentence: str, windows: int, *, active: bool
    ) -> Finding:
        """Of a zone, or of the group (None), with its onset so many windows ago."""
        subject = self.group.prefix if zone is None else self.group.subject(zone)
        endings = (".i",) if zone is None else ENDINGS
        onset_ns = tens.time_ns - int(windows * WINDOW_S * NS)
        evidence = Evidence(
            min(onset_ns, tens.time_ns - int(_LOOK_BACK_S * NS)),
            tens.time_ns,
            tuple(p for p in self._paths if p.startswith(subject + ".") and p.endswith(endings)),
            {} if zone is None else self._figures(zone, tens),
        )
        words = (self._values.priority(), sentence, self._values.advice)
        return Finding(RULE, subject, active, tens.time_ns, onset_ns, *words, evidence)

    def _figures(self, zone: int, tens: ZoneTens) -> dict[str, tuple[float, str]]:
        figures = {
            "controller output": (tens.out[zone], "%"),
            "heater current": (tens.current_a[zone], "A"),
            "nominal current": (self._learner.nominal_a[zone], "A"),
            "temperature": (tens.temp_cel[zone], "Cel"),
            "below set-point": (tens.below_k[zone], "K"),
            "warming": (self._learner.rate_k_min[zone], "K/min"),
        }
        return {name: (round(float(v), 2), unit) for name, (v, unit) in figures.items() if not np.isnan(v)}

    def save(self) -> dict[str, Any]:
        return {
            "learner": self._learner.save(),
            "armed": self._armed.tolist(),
            "setpoint": numbers(self._setpoint),
            "last": self._last_ns,
            "runs": self._sign_runs.tolist(),
            "near": self._near_run.tolist(),
            "flow": self._flow_run.tolist(),
            "sign": self._sign.tolist(),
            "supply": [self._supply_run, self._supply_lost],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        self._learner.restore(state["learner"])
        self._armed = np.asarray(state["armed"], dtype=np.bool_)
        self._setpoint = array(state["setpoint"])
        self._last_ns = state["last"]
        self._sign_runs = np.asarray(state["runs"], dtype=np.int64)
        self._near_run = np.asarray(state["near"], dtype=np.int64)
        self._flow_run = np.asarray(state["flow"], dtype=np.int64)
        self._sign = np.asarray(state["sign"], dtype=np.int64)
        self._supply_run, self._supply_lost = state["supply"]
