"""Whether a zone's thermocouple is shorted or reversed: it reads far too low, and the controller heats on.

Three signs: the reading leaps down; it stays near the hall at full output while the peers are hot; from cold
it falls though full power flows. In each the zone itself may run away hot.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from enum import IntEnum
from typing import Any

import numpy as np

from historian.frame import NS
from process.statistics import slopes_of_columns
from rules.block import Block
from rules.detectors.heating.probe_samples import ProbeSamples, Shown
from rules.detectors.heating.zones import FULL_PERCENT, Flags, ZoneRule
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episode
from rules.seen.grid import array, numbers
from rules.seen.heat_tens import HeatTens
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S

_NEAR_HALL_CEL = 60.0
_PEERS_HOT_CEL = 150.0
_FALLING_K_MIN = -0.5
_FALL_WINDOWS = 7  # seven points span 60 s
_FALLEN_K = 0.8
_FLOWS_SHARE = 0.8
_LEAST_A = 0.3
_BACK_K = 40.0
_BACK_WINDOWS = 6
_FOREVER = int(np.iinfo(np.int64).max)


class Sign(IntEnum):
    """What shows it; the numbers stand in saved states."""

    NONE = 0
    LEAP = 1
    NEAR_HALL = 2
    FALLS = 3


class ProbeShort(ZoneRule):
    """Rule ``probe-short``."""

    RULE = "probe-short"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        size = len(self.zones)
        self._samples = ProbeSamples(self.zones)
        self._leapt: dict[int, Episode] = {}
        self._spells: dict[int, list[list[int]]] = {}  # since when, and until when, readings had leapt
        self._sign = np.zeros(size, dtype=np.int64)  # of a standing finding by a slower sign
        self._value = np.full(size, np.nan)
        self._hall_run = np.zeros(size, dtype=np.int64)
        self._back_run = np.zeros(size, dtype=np.int64)
        self._temps = np.empty((0, size))
        self._last_ns = 0

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What the samples say."""
        found: list[Finding | Blind] = []
        for zone, time_ns, shown, value in self._samples.of(block, self._leapt.__contains__):
            if zone not in self._leapt:
                self._leapt[zone] = Episode(self.values["held_s"], self.values["good_s"])
            episode = self._leapt[zone]
            low = shown is Shown.LOW
            if low:
                self._value[zone] = value
            change = episode.judge(time_ns, None if shown is Shown.UNKNOWN else low)
            if change > 0:
                self._spells.setdefault(zone, []).append([episode.onset_ns, _FOREVER])
                found.append(self._said(zone, Sign.LEAP, time_ns, episode.onset_ns, active=True))
            elif change < 0:
                self._spells[zone][-1][1] = time_ns
                found.append(self._said(zone, Sign.NONE, time_ns, time_ns, active=False))
            if shown is Shown.TEMPERATURE and not episode.standing:
                del self._leapt[zone]
        found += super().update(block)
        # A spell that is over is kept until the ten seconds in which it ended have been judged.
        for zone, spells in self._spells.items():
            self._spells[zone] = [s for s in spells if s[1] >= self._last_ns]
        return found

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What ten seconds say of the two slower signs."""
        yield from self.blinded(tens)
        heat = tens.heat
        if heat.time_ns - self._last_ns > 3 * TENS_S * NS:
            self._temps = self._temps[:0]
        self._last_ns = heat.time_ns
        self._temps = np.concatenate((self._temps, heat.temp_cel[None, :]))[-_FALL_WINDOWS:]
        cold = heat.usable & (heat.temp_cel < _NEAR_HALL_CEL) & (heat.least_out > FULL_PERCENT)
        yield from self._ends(heat)
        if not cold.any():
            self._hall_run[:] = 0
            return
        least_a = np.where(np.isnan(heat.usual_a), _LEAST_A, _FLOWS_SHARE * heat.usual_a)
        flows = np.isnan(heat.current_a) | (heat.current_a > least_a)
        hot = self.zones.of_peers(heat.temp_cel, heat.usable) > _PEERS_HOT_CEL
        self._hall_run = np.where(cold & flows & hot, self._hall_run + 1, 0)
        near_hall = self._hall_run * TENS_S >= self.values["hall_held_s"]
        falls = cold & flows & self._falls()
        sign = np.where(near_hall, Sign.NEAR_HALL, np.where(falls, Sign.FALLS, Sign.NONE))
        begins = (sign > 0) & (self._sign == 0) & ~self._has_leapt(heat.time_ns)
        self._sign = np.where(begins, sign, self._sign)
        for zone in np.flatnonzero(begins).tolist():
            self._value[zone] = heat.temp_cel[zone]
            since_ns = heat.time_ns - int(60 * NS)
            yield self._said(zone, Sign(self._sign[zone]), heat.time_ns, since_ns, active=True)

    def _has_leapt(self, time_ns: int) -> Flags:
        """Of which zones it is known by the faster sign, as of then."""
        leapt = np.zeros(len(self.zones), dtype=np.bool_)
        for zone, spells in self._spells.items():
            leapt[zone] = any(since <= time_ns <= until for since, until in spells)
        return leapt

    def _falls(self) -> Flags:
        if len(self._temps) < _FALL_WINDOWS:
            return np.zeros(len(self.zones), dtype=np.bool_)
        minutes = np.arange(_FALL_WINDOWS) * TENS_S / 60
        slope = slopes_of_columns(minutes, self._temps, least_points=_FALL_WINDOWS)
        falls: Flags = (slope < _FALLING_K_MIN) & (self._temps[0] - self._temps[-1] > _FALLEN_K / 2)
        return falls

    def _ends(self, heat: HeatTens) -> Iterable[Finding]:
        slow = self._sign > Sign.NONE
        if not slow.any():
            return
        back = slow & heat.usable & (np.abs(heat.below_k) < _BACK_K)
        warms = slow & heat.usable & (heat.rate_k_min > -_FALLING_K_MIN) & (self._sign == Sign.FALLS)
        self._back_run = np.where(back | warms, self._back_run + 1, 0)
        for zone in np.flatnonzero(slow & (self._back_run >= _BACK_WINDOWS)).tolist():
            self._sign[zone] = Sign.NONE
            yield self._said(zone, Sign.NONE, heat.time_ns, heat.time_ns, active=False)

    def _said(self, zone: int, sign: Sign, time_ns: int, onset_ns: int, *, active: bool) -> Finding:
        name = self.zones.names[zone]
        small = name[0].lower() + name[1:]
        value = self._value[zone]
        unknown = "How hot the zone is, is not known; its controller may heat it without end."
        sentence = {
            Sign.NONE: f"The thermocouple of {small} shows a temperature again.",
            Sign.LEAP: f"The reading of {small} leapt down to {value:.0f} Cel, which no zone does: its "
            f"thermocouple is shorted, reversed or unplugged. {unknown}",
            Sign.NEAR_HALL: f"{name} reads {value:.0f} Cel at full output while its peers are hot: its "
            f"thermocouple is shorted or unplugged. {unknown}",
            Sign.FALLS: f"The reading of {small} falls while it is heated with full output: the wires of its "
            f"thermocouple are reversed. {unknown}",
        }[sign]
        subject = self.zones.subjects[zone]
        return self.finding(
            subject,
            active,
            time_ns,
            sentence,
            onset_ns=onset_ns,
            tags=self.zones.tags(zone),
            figures={"reading": (float(value), "Cel")},
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "samples": self._samples.save(),
            "leapt": {str(z): e.save() for z, e in self._leapt.items()},
            "spells": {str(z): s for z, s in self._spells.items()},
            "sign": self._sign.tolist(),
            "value": numbers(self._value),
            "runs": [self._hall_run.tolist(), self._back_run.tolist()],
            "temps": [numbers(r) for r in self._temps],
            "last": self._last_ns,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._samples.restore(state["samples"])
        self._leapt = {}
        for zone, saved in state["leapt"].items():
            self._leapt[int(zone)] = Episode(self.values["held_s"], self.values["good_s"])
            self._leapt[int(zone)].restore(saved)
        self._spells = {int(z): [list(s) for s in spells] for z, spells in state["spells"].items()}
        self._sign = np.asarray(state["sign"], dtype=np.int64)
        self._value = array(state["value"])
        self._hall_run, self._back_run = (np.asarray(r, dtype=np.int64) for r in state["runs"])
        temps = state["temps"]
        self._temps = np.asarray([array(r) for r in temps]).reshape(len(temps), len(self.zones))
        self._last_ns = state["last"]
