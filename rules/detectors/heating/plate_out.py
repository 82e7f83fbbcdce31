"""Whether the filter runs with a plate taken out of use, and what margin the others leave.

Said at the change itself, with where the plate will settle by the plates' own thermal model. While one is out
three things are looked after: that no second one loses its current, that those beside it have output left,
and that the plate comes to where it was expected.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import isnan, nan
from typing import Any

import numpy as np

from historian.frame import NS
from rules.block import Block
from rules.detectors.heating.plate_model import PlateModel
from rules.detectors.heating.zones import Flags, ZoneRule, named
from rules.finding import Blind, Finding, Priority
from rules.line import LineFacts
from rules.seen.episode import Episode
from rules.seen.heat_tens import HeatTens
from rules.seen.stage import Seen, Stage, Tens
from rules.words import count

_PLATE = "filter.plate"
_SECOND, _BESIDE, _APART = "filter.plate.second", "filter.plate.beside", "filter.plate.apart"
_LOST_S = 60.0
# Such a plate has come to rest after two time constants of some twenty minutes, and when it moves no more.
_SETTLES_S = 2400.0
_RESTS_K_MIN = 0.2
_ORDINAL = {2: "second", 3: "third", 4: "fourth"}
_WATCH = "Watch the output of its neighbours, the wiper's torque and the pressures."


class PlateOut(ZoneRule):
    """Rule ``plate-out``: one finding a plate, one for a second plate lost, one for those beside it."""

    RULE = "plate-out"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        values = self.values
        self._permitted = 0 if facts.melt_filter is None else facts.melt_filter.plates_out_permitted
        states = [s + ".enabled.state" for s in self.zones.subjects]
        plates = [z for z, s in enumerate(states) if s.startswith(_PLATE + ".") and s in stage.column]
        self._plates = plates
        self._columns = np.asarray([stage.column[states[z]] for z in plates], dtype=np.intp)
        self._is_plate = np.isin(np.arange(len(self.zones)), plates)
        self._out = np.zeros(len(self.zones), dtype=np.bool_)
        self._since_ns = np.zeros(len(self.zones), dtype=np.int64)  # when it was taken out
        self._apart = Episode(values["reserve_held_s"], values["reserve_held_s"])
        self._model = PlateModel(stage)
        self._second = Episode(_LOST_S, _LOST_S)
        self._beside = Episode(values["reserve_held_s"], values["reserve_held_s"])

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
        """Time, plate, and whether it was taken out, of each change."""
        now = self._out[self._plates]
        state = seen.value[:, self._columns]
        known = ~np.isnan(state)
        if not (known & ((state < 0.5) != now)).any():
            return []
        found = []
        for time_ns, row, sure in zip(seen.time_ns.tolist(), state < 0.5, known, strict=True):
            for n in np.flatnonzero(sure & (row != now)).tolist():
                now[n] = row[n]
                found.append((time_ns, self._plates[n], bool(row[n])))
        return found

    def _switch(self, time_ns: int, zone: int, out: bool) -> Finding:
        self._out[zone], self._since_ns[zone] = out, time_ns
        subject, name = self.zones.subjects[zone], self.zones.names[zone]
        if not out:
            return self.finding(subject, False, time_ns, f"{name} is in use again.")
        number, total = int(self._out.sum()), len(self._plates)
        settles_cel = self._model.settles_cel(zone, self._out)
        below_k = float(self._model.setpoint_cel[zone]) - settles_cel
        prospect = (
            ""
            if isnan(below_k)
            else f". It is expected to settle near {settles_cel:.0f} Cel, {below_k:.0f} K below its set-point"
        )
        sentence = (
            f"{name} was taken out of use: {count(total - number)} of {count(total)} plates heat{prospect}. "
            f"{self._permission(number)} {_WATCH}"
        )
        figures = {
            "plates out": (float(number), "1"),
            "permitted by the line's file": (float(self._permitted), "1"),
            "temperature": (float(self._model.temp_cel[zone]), "Cel"),
            "expected to settle at": (settles_cel, "Cel"),
            "expected below set-point": (below_k, "K"),
        }
        tags = (subject + ".enabled.state", *self.zones.tags(zone, *self._neighbours(zone)))
        own = Priority.LOW if number <= self._permitted else Priority.MEDIUM
        if number > max(self._permitted, 1):
            own = Priority.HIGH
        return self.finding(subject, True, time_ns, sentence, tags=tags, figures=figures, own=own)

    def _permission(self, number: int) -> str:
        if number <= self._permitted:
            return f"The line's file permits {count(self._permitted)} out."
        if number > 1:
            return f"It is the {_ORDINAL.get(number, 'next')} plate out, more than the line's file permits."
        return "The line's file does not say that a plate may be out."

    def _neighbours(self, zone: int) -> list[int]:
        found: list[int] = np.flatnonzero(self.zones.neighbours[zone]).tolist()
        return found

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """Learns the plates' model; with a plate out, looks after the others."""
        yield from self.blinded(tens)
        self._model.take(tens)
        heat = tens.heat
        some_out = bool(self._out.any())
        used = self._is_plate & ~self._out & heat.usable
        yield from self._second_lost(heat, used, some_out=some_out)
        yield from self._reserve(heat, used, some_out=some_out)
        yield from self._settled(heat, runs=tens.line.running is True)

    def _settled(self, heat: HeatTens, *, runs: bool) -> Iterable[Finding]:
        """How far the plate that has come to rest farthest from where it was expected is from there."""
        rests = self._out & (np.abs(heat.rate_k_min) < _RESTS_K_MIN) & ~np.isnan(heat.temp_cel)
        rests &= heat.time_ns - self._since_ns >= int(_SETTLES_S * NS)
        resting: list[int] = np.flatnonzero(rests).tolist()
        off = {z: float(heat.temp_cel[z]) - self._model.settles_cel(z, self._out) for z in resting}
        known = {z: k for z, k in off.items() if not isnan(k)} if runs else {}
        zone = max(known, key=lambda z: abs(known[z]), default=-1)
        holds = abs(known[zone]) > self.values["residual_k"] if known else None
        change = self._apart.judge(heat.time_ns, holds if self._out.any() else False)
        if not change:
            return
        sentence = "What is out of use is where it was expected."
        figures: dict[str, tuple[float, str]] = {}
        tags: tuple[str, ...] = ()
        if change > 0:
            cel, more = float(heat.temp_cel[zone]), known[zone]
            sentence = (
                f"{self.zones.names[zone]}, out of use, rests at {cel:.0f} Cel, {abs(more):.0f} K "
                f"{'warmer' if more > 0 else 'colder'} than its neighbours and the melt let expect. "
                "Whether its probe is right is not known."
            )
            figures = {"temperature": (cel, "Cel"), "expected to settle at": (cel - more, "Cel")}
            tags = self.zones.tags(zone)
        yield self.finding(
            _APART,
            change > 0,
            heat.time_ns,
            sentence,
            onset_ns=self._apart.onset_ns,
            tags=tags,
            figures=figures,
            own=Priority.LOW,
        )

    def _second_lost(self, heat: HeatTens, used: Flags, *, some_out: bool) -> Iterable[Finding]:
        lost = used & (heat.on_a < self.values["current_share"] * heat.usual_a)
        known = (used & ~np.isnan(heat.on_a)).any()
        holds = bool(lost.any()) if some_out and known else None if some_out else False
        change = self._second.judge(heat.time_ns, holds)
        if change < 0:
            yield self.finding(_SECOND, False, heat.time_ns, "No second plate is lost any more.")
        elif change:
            zone = int(np.flatnonzero(lost)[0])
            sentence = (
                f"{self.zones.names[zone]} gets no current while {self._names_out()} is out of use: a second "
                "plate is lost. Whether the filter may go on like this is for the maker's manual and the "
                "shift leader to say."
            )
            yield self.finding(
                _SECOND,
                True,
                heat.time_ns,
                sentence,
                onset_ns=self._second.onset_ns,
                tags=self.zones.tags(zone),
                figures=self.figures(zone, heat),
                own=Priority.HIGH,
            )

    def _reserve(self, heat: HeatTens, used: Flags, *, some_out: bool) -> Iterable[Finding]:
        beside = used & self.zones.neighbours[self._out].any(axis=0)
        most = float(heat.out[beside].max()) if beside.any() else nan
        high = most > self.values["reserve_percent"]
        change = self._beside.judge(heat.time_ns, False if not some_out else None if isnan(most) else high)
        if change:
            sentence = (
                f"A plate beside {self._names_out()} needs {most:.0f} % of its output: it has little left to "
                "make up for what is out of use."
                if change > 0
                else "The plates beside what is out of use have output left again."
            )
            yield self.finding(
                _BESIDE,
                change > 0,
                heat.time_ns,
                sentence,
                onset_ns=self._beside.onset_ns,
                tags=tuple(self.zones.subjects[z] + ".out" for z in np.flatnonzero(beside)),
                figures={"most output beside it": (most, "%")},
                own=Priority.MEDIUM,
            )

    def _names_out(self) -> str:
        return named([self.zones.names[z] for z in np.flatnonzero(self._out)])

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "out": self._out.tolist(),
            "model": self._model.save(),
            "second": self._second.save(),
            "beside": self._beside.save(),
            "since": self._since_ns.tolist(),
            "apart": self._apart.save(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._out = np.asarray(state["out"], dtype=np.bool_)
        self._model.restore(state["model"])
        self._second.restore(state["second"])
        self._beside.restore(state["beside"])
        self._since_ns = np.asarray(state["since"], dtype=np.int64)
        self._apart.restore(state["apart"])
