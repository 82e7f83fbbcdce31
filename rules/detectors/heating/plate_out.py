"""Whether the filter runs with a plate taken out of use, and how much margin the others leave.

Said at the change itself. Where the plate will settle is computed from the plates' own thermal model, learnt
since the heating was switched on. A second plate lost is graver, whether it was taken out or lost its current.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import isnan, nan
from typing import Any

import numpy as np

from process.heater_fit import HeaterFit, Prior
from rules.block import Block
from rules.detectors.heating.zones import ZoneRule, named
from rules.finding import Blind, Finding, Priority
from rules.line import LineFacts, MeltFilter
from rules.seen.episode import Episode
from rules.seen.heat import HeatTens
from rules.seen.stage import Seen, Stage, Tens
from rules.seen.tens import TENS_S
from rules.words import count

SUBJECT = "filter.plate"
_PRIOR = Prior(full_k_min=5.3, hall_per_min=0.009, neighbour_per_min=0.013, melt_per_min=0.018)
"""common practice, no source: plates of this size."""
_EACH = 6  # tens of seconds from one lesson to the next
_HALL_CEL = 22.0
_HALL = "room.temp.pv"
_MELT = ("filter.inlet.melt_temp.pv", "extruder.melt.temp.pv")
_LOST_S = 60.0


class PlateOut(ZoneRule):
    """Rule ``plate-out``: one finding a plate, and one of the filter when its neighbours come to their end."""

    RULE = "plate-out"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        self._filter = facts.melt_filter if facts.melt_filter is not None else MeltFilter(plates=0)
        paths = [s + ".enabled.state" for s in self.zones.subjects]
        is_plate = [s.startswith(SUBJECT + ".") and p in stage.column for s, p in zip(self.zones.subjects, paths, strict=True)]
        self._plates = np.flatnonzero(is_plate)
        self._columns = np.asarray([stage.column[paths[z]] for z in self._plates], dtype=np.intp)
        self._out = np.zeros(len(self.zones), dtype=np.bool_)
        self._known = np.zeros(len(self.zones), dtype=np.bool_)
        self._lost = [Episode(_LOST_S, _LOST_S) for _ in self.zones.subjects]
        self._reserve = Episode(self.values["reserve_held_s"], self.values["reserve_held_s"])
        self._fit = HeaterFit(_PRIOR, len(self.zones))
        self._lesson: list[Any] = []
        self._heat: HeatTens | None = None
        self._around = (_HALL_CEL, nan)

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What was switched within the block, and what its tens of seconds say."""
        seen = self.stage.see(block)
        found: list[Finding | Blind] = []
        switched = self._switched(seen)
        for tens in seen.tens:
            while switched and switched[0][0] <= tens.time_ns:
                found.append(self._switch(*switched.pop(0)))
            found += self.judge(tens)
        return [*found, *(self._switch(*s) for s in switched)]

    def _switched(self, seen: Seen) -> list[tuple[int, int, bool]]:
        """Time, plate and whether it was taken out, of each change."""
        if len(self._plates) == 0 or len(seen.time_ns) == 0:
            return []
        state = seen.value[:, self._columns]
        wanted = self._out[self._plates]
        if not ((state < 0.5) != wanted)[~np.isnan(state)].any():
            return []
        found = []
        now = dict(zip(self._plates.tolist(), wanted.tolist(), strict=True))
        for time_ns, row in zip(seen.time_ns.tolist(), state.tolist(), strict=True):
            for zone, value in zip(self._plates.tolist(), row, strict=True):
                if not isnan(value) and (value < 0.5) != now[zone]:
                    now[zone] = value < 0.5
                    found.append((time_ns, zone, now[zone]))
        return found

    def _switch(self, time_ns: int, zone: int, out: bool) -> Finding:
        self._out[zone] = out
        subject = self.zones.subjects[zone]
        if not out:
            sentence = f"{self.zones.names[zone]} is in use again."
            return self.finding(subject, False, time_ns, sentence)
        number, total = int(self._out.sum()), len(self._plates)
        permitted = self._filter.plates_out_permitted
        figures = {"plates out": (float(number), "1"), "permitted by the line's file": (float(permitted), "1")}
        sentence = (
            f"{self.zones.names[zone]} was taken out of use: {count(total - number)} of {count(total)} plates "
            f"heat{self._prospect(zone, figures)}. {self._permission(number, permitted)}"
        )
        neighbours = np.flatnonzero(self.zones.neighbours[zone]).tolist()
        tags = (subject + ".enabled.state", *self.zones.tags(zone, *neighbours))
        own = Priority.HIGH if number > max(permitted, 1) else Priority.LOW if number <= permitted else Priority.MEDIUM
        return self.finding(subject, True, time_ns, sentence, tags=tags, figures=figures, own=own)

    def _permission(self, number: int, permitted: int) -> str:
        watch = "Watch its neighbours' output, the wiper's torque and the pressures."
        if number <= permitted:
            return f"The line's file permits {count(permitted)} out. {watch}"
        if number > 1:
            return f"It is the {_ORDINAL.get(number, 'next')} plate out, more than the line's file permits. {watch}"
        return f"The line's file does not say that a plate may be out. {watch}"

    def _prospect(self, zone: int, figures: dict[str, tuple[float, str]]) -> str:
        """Where the plate will settle, in words and figures."""
        expected = self._expected_cel(zone)
        if isnan(expected):
            return ""
        heat = self._heat
        now = nan if heat is None else float(heat.temp_cel[zone])
        figures["expected to settle at"] = (expected, "Cel")
        figures["temperature"] = (now, "Cel")
        settles = f"; it is expected to settle near {expected:.0f} Cel"
        below = nan if heat is None else float(heat.setpoint_cel[zone]) - expected
        if isnan(below):
            return settles
        figures["expected below set-point"] = (below, "K")
        return f"{settles}, {below:.0f} K below its set-point"

    def _expected_cel(self, zone: int) -> float:
        heat = self._heat
        if heat is None:
            return nan
        neighbours = np.flatnonzero(self.zones.neighbours[zone]).tolist()
        around = [float(heat.setpoint_cel[n]) if not self._out[n] else float(heat.temp_cel[n]) for n in neighbours]
        return self._fit.asymptote_cel(zone, self._around[0], around, self._around[1])

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """Learns the plates' model; with a plate out, looks after the others."""
        heat = self._heat = tens.heat
        yield from self.blinded(tens)
        self._learn(tens)
        if not self._out.any():
            for zone in self._plates.tolist():
                if self._lost[zone].standing and (end := self._lose(zone, heat, lost=False)):
                    yield end
            self._reserve.judge(heat.time_ns, None)
            return
        out = self._out
        for zone in np.flatnonzero(self._plates_used()).tolist():
            known = bool(heat.usable[zone]) and not isnan(heat.on_a[zone])
            lost = bool(heat.on_a[zone] < self.values["current_share"] * heat.usual_a[zone])
            if said := self._lose(zone, heat, lost=lost if known else None):
                yield said
        beside = self.zones.neighbours[out].any(axis=0) & self._plates_used() & heat.usable
        most = float(np.max(heat.out[beside])) if beside.any() else nan
        change = self._reserve.judge(heat.time_ns, None if isnan(most) else most > self.values["reserve_percent"])
        if change:
            yield self._at_its_end(heat, beside, most, active=change > 0)

    def _plates_used(self) -> Any:
        used = np.zeros(len(self.zones), dtype=np.bool_)
        used[self._plates] = True
        return used & ~self._out

    def _lose(self, zone: int, heat: HeatTens, *, lost: bool | None) -> Finding | None:
        episode = self._lost[zone]
        change = episode.judge(heat.time_ns, lost)
        if not change:
            return None
        subject, name = self.zones.subjects[zone], self.zones.names[zone]
        if change < 0:
            sentence = f"{name} heats again, or no other plate is out."
            return self.finding(subject, False, heat.time_ns, sentence)
        out = named([self.zones.names[z] for z in np.flatnonzero(self._out)])
        sentence = (
            f"{name} draws no current while {out} is out of use: a second plate is lost. Whether the filter "
            "may go on like this is for the maker's manual and the shift leader to say."
        )
        figures = self.figures(zone, heat)
        return self.finding(
            subject, True, heat.time_ns, sentence, onset_ns=episode.onset_ns,
            tags=self.zones.tags(zone), figures=figures, own=Priority.HIGH,
        )

    def _at_its_end(self, heat: HeatTens, beside: Any, most: float, *, active: bool) -> Finding:
        out = named([self.zones.names[z] for z in np.flatnonzero(self._out)])
        sentence = (
            f"A plate beside {out} needs {most:.0f} % of its output: it has little left to make up for what is "
            "out of use."
            if active
            else f"The plates beside {out} have output left again."
        )
        tags = tuple(self.zones.subjects[z] + ".out" for z in np.flatnonzero(beside))
        return self.finding(
            SUBJECT, active, heat.time_ns, sentence, onset_ns=self._reserve.onset_ns, tags=tags,
            figures={"most output beside it": (most, "%")}, own=Priority.MEDIUM,
        )

    def _learn(self, tens: Tens) -> None:
        """One lesson a minute, from the rates of the last two minutes."""
        heat, column = tens.heat, self.stage.column
        hall = float(tens.mean[column[_HALL]]) if _HALL in column else nan
        melts = [float(tens.mean[column[p]]) for p in _MELT if p in column]
        melt = next((m for m in melts if not isnan(m)), nan) if tens.line.running else nan
        self._around = (_HALL_CEL if isnan(hall) else hall, melt)
        self._lesson.append(np.where(heat.usable, heat.out, np.nan))
        if len(self._lesson) < 2 * _EACH:
            return
        share = np.mean(self._lesson, axis=0) / 100
        self._lesson = self._lesson[_EACH:]
        temp = heat.temp_cel
        neighbours = self.zones.neighbours.astype(float)
        apart = neighbours @ np.nan_to_num(temp) - neighbours.sum(axis=1) * temp
        unknown = neighbours @ np.isnan(temp).astype(float) > 0
        flow = np.zeros(len(temp)) if isnan(melt) else melt - temp
        if tens.line.running is None:
            return
        rate = np.where(unknown | (heat.in_use < 0.5), np.nan, heat.rate_k_min)
        self._fit.take(rate, share, self._around[0] - temp, apart, flow)

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "out": self._out.tolist(),
            "lost": [e.save() for e in self._lost],
            "reserve": self._reserve.save(),
            "fit": self._fit.save(),
            "lesson": [[None if isnan(v) else float(v) for v in r] for r in self._lesson],
            "heat": None if self._heat is None else self._now_json(),
        }

    def _now_json(self) -> Any:
        return None


_ORDINAL = {2: "second", 3: "third", 4: "fourth"}
