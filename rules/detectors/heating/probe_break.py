"""Whether a zone's thermocouple is broken or has a loose contact: its reading goes beyond its range.

Judged by every sample, so that it is said within seconds.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import nan
from typing import Any

import numpy as np

from historian.frame import NS
from rules.block import Block
from rules.detectors.heating.probe_samples import ProbeSamples, Shown
from rules.detectors.heating.zones import Floats, HoldOutput, ZoneRule
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episode
from rules.seen.grid import array, numbers
from rules.seen.stage import Stage, Tens

_LOOSE_CLEAR_S = 600.0
_KEPT = 3
_EACH_NS = 60 * NS
_BEFORE_NS = 15 * NS


class ProbeBreak(ZoneRule):
    """Rule ``probe-break``: broken, or loose once it has come and gone often enough."""

    RULE = "probe-break"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        self._samples = ProbeSamples(self.zones)
        self._hold = HoldOutput(len(self.zones))
        self._held: list[tuple[int, Floats]] = []  # what held each zone, by the end of ten seconds
        self._broken: dict[int, Episode] = {}
        self._is_high = np.zeros(len(self.zones), dtype=np.bool_)
        self._breaks: dict[int, list[int]] = {}  # when each of the last breaks began
        self._loose: set[int] = set()
        self._value = np.full(len(self.zones), np.nan)

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What the samples say."""
        found = list(super().update(block))
        for zone, time_ns, shown, value in self._samples.of(block, self._is_watched):
            if shown is Shown.UNKNOWN:
                self._episode(zone).judge(time_ns, None)
                continue
            high = shown is Shown.HIGH
            if high:
                self._value[zone] = value
            found += self._step(zone, time_ns, high=high)
            self._is_high[zone] = high
        self._held = self._held[-_KEPT:]
        return found

    def _is_watched(self, zone: int) -> bool:
        return zone in self._broken or zone in self._loose

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """Nothing by itself: what held each zone is kept for the day its probe breaks."""
        self._hold.take(tens.heat, np.isnan(tens.heat.temp_cel))
        if tens.time_ns // _EACH_NS != (self._held[-1][0] // _EACH_NS if self._held else None):
            self._held.append((tens.time_ns, self._hold.percent))
        return self.blind.note(tens.time_ns, None)

    def _episode(self, zone: int) -> Episode:
        if zone not in self._broken:
            self._broken[zone] = Episode(self.values["held_s"], self.values["good_s"])
        return self._broken[zone]

    def _step(self, zone: int, time_ns: int, *, high: bool) -> Iterable[Finding]:
        breaks = self._breaks.get(zone, [])
        if high and not self._is_high[zone]:
            since = time_ns - int(self.values["loose_window_s"] * NS)
            breaks = self._breaks[zone] = [t for t in breaks if t >= since] + [time_ns]
        if zone in self._loose:
            if not high and time_ns - breaks[-1] >= _LOOSE_CLEAR_S * NS:
                self._loose.discard(zone)
                self._rest(zone)
                yield self._said(zone, time_ns, self._over(zone), time_ns, active=False)
            return
        if len(breaks) >= self.values["loose_breaks"]:
            self._loose.add(zone)
            yield self._said(zone, time_ns, self._loosely(zone, breaks, time_ns), breaks[0], active=True)
            return
        episode = self._episode(zone)
        change = episode.judge(time_ns, high)
        if change > 0:
            yield self._said(zone, time_ns, self._broke(zone, time_ns), episode.onset_ns, active=True)
        elif change < 0:
            yield self._said(zone, time_ns, self._over(zone), episode.onset_ns, active=False)
        if not high and not episode.standing:
            del self._broken[zone]

    def _rest(self, zone: int) -> None:
        self._broken.pop(zone, None)
        self._breaks.pop(zone, None)

    def _held_percent(self, zone: int, time_ns: int) -> float:
        """What held a zone a little before: whether the last ten seconds are over yet depends on how samples
        arrive, and must not show."""
        before = [p for t, p in self._held if t <= time_ns - _BEFORE_NS]
        return float(before[-1][zone]) if before else nan

    def _broke(self, zone: int, time_ns: int) -> str:
        hold, value = self._held_percent(zone, time_ns), self._value[zone]
        held = "" if np.isnan(hold) else f"; {hold:.0f} % held it at its set-point before"
        shows = f"shows {value:.0f} Cel, which no zone reaches so fast"
        if np.isnan(value):
            shows = "gives no valid reading"
        return (
            f"The thermocouple of {self._name(zone)} {shows}: its wire is broken or its input has failed. "
            f"How warm the zone is, is not known{held}."
        )

    def _loosely(self, zone: int, breaks: Sequence[int], time_ns: int) -> str:
        span = max((time_ns - breaks[0]) / NS / 60, 1.0)
        return (
            f"The thermocouple of {self._name(zone)} has come and gone {len(breaks)} times in {span:.0f} "
            "min: a loose contact. Its controller follows it."
        )

    def _over(self, zone: int) -> str:
        return f"The thermocouple of {self._name(zone)} shows a temperature again."

    def _name(self, zone: int) -> str:
        name = self.zones.names[zone]
        return name[0].lower() + name[1:]

    def _said(self, zone: int, time_ns: int, sentence: str, onset_ns: int, *, active: bool) -> Finding:
        subject = self.zones.subjects[zone]
        figures = {
            "reading": (float(self._value[zone]), "Cel"),
            "output that held it": (self._held_percent(zone, time_ns), "%"),
            "breaks": (float(len(self._breaks.get(zone, []))), "1"),
        }
        tags = (subject + ".temp.pv", subject + ".out")
        return self.finding(subject, active, time_ns, sentence, onset_ns=onset_ns, tags=tags, figures=figures)

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "samples": self._samples.save(),
            "hold": self._hold.save(),
            "held": [[t, numbers(p)] for t, p in self._held],
            "broken": {str(z): e.save() for z, e in self._broken.items()},
            "high": self._is_high.tolist(),
            "breaks": {str(z): b for z, b in self._breaks.items()},
            "loose": sorted(self._loose),
            "value": numbers(self._value),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._samples.restore(state["samples"])
        self._hold.restore(state["hold"])
        self._held = [(t, array(p)) for t, p in state["held"]]
        self._broken = {}
        for zone, saved in state["broken"].items():
            self._episode(int(zone)).restore(saved)
        self._is_high = np.asarray(state["high"], dtype=np.bool_)
        self._breaks = {int(z): list(b) for z, b in state["breaks"].items()}
        self._loose = set(state["loose"])
        self._value = array(state["value"])
