"""Whether what is left of another material comes out: the melt is stiffer at once, then less and less.

A frozen die raises the pressure too, but not the loss in the pipe from screw to filter, which only the melt's
stiffness moves; a stiffer lot stays stiff.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any

from historian.frame import NS
from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.flow import Flow
from rules.seen.stage import Stage, Tens
from rules.seen.told import MATERIAL_CHANGED
from rules.seen.usual_values import Usual, ratio

DIE, OUTLET = "die.pressure.pv", "filter.outlet.pressure.pv"
HEAD, INLET = "extruder.head.pressure.pv", "filter.inlet.pressure.pv"
MELT = "extruder.melt.temp.pv"

_BY_MELT = 0.5  # share of the rise that the loss in the pipe must show as well
_WARMER_K = 1.5
_RISEN_S = 300.0  # a rise that has not begun to fall by then is no residue
_LAST_S = 1800.0
_TOLD_S = 1800.0


class MaterialResidue(ConditionRule):
    """Rule ``material-residue``."""

    RULE = "material-residue"
    SUBJECT = "extruder.melt"
    TAGS = (DIE, OUTLET, HEAD, INLET, MELT, "filter.dp.calc", "extruder.drive.torque.pv")

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._path = DIE if DIE in stage.column else OUTLET
        self._usual = Usual(("die", "pipe", "melt"))
        self._flow = Flow(stage)
        self._risen_ns = 0  # since when it is above; 0: it is not
        self._peak = 1.0
        self._signs: list[bool] = []  # whether the melt itself was stiffer, each ten seconds of the rise
        self._told_ns: int | None = None

    def why_not(self, tens: Tens) -> str | None:
        """Judged in running, settled melt, between cleanings."""
        self._flow.push(tens)
        if any(t.what == MATERIAL_CHANGED for t in tens.told):
            self._told_ns = tens.time_ns
        if tens.line.feed_changed_s == 0 and not self.episode.standing:
            self._usual.forget()
        why = self.unsettled(tens, start_s=600.0, settle_s=self.values["settle_s"], wipe_s=40.0)
        if why not in (None, "cleaning"):
            self._risen_ns = 0
        return why

    def holds(self, tens: Tens) -> bool | None:
        """It rose steeply, the melt itself was stiffer, and a good part of the rise is gone already."""
        level = ratio(self.value(tens, self._path), self._usual["die"])
        if isnan(level):
            return None
        if self.episode.standing:
            held_s = (tens.time_ns - self.episode.onset_ns) / NS
            return level > 1 + self.values["rise_percent"] / 300 and held_s < _LAST_S
        if level < 1 + self.values["rise_percent"] / 100 and not self._risen_ns:
            return False
        if self._flow.uneven:
            self._risen_ns = 0
            return False
        if not self._risen_ns:
            self._risen_ns, self._peak, self._signs = tens.time_ns, level, []
        self._peak = max(level, self._peak)
        since_s = (tens.time_ns - self._risen_ns) / NS
        if since_s > _LAST_S:  # it is the usual melt by now
            self._risen_ns = 0
            self._usual.forget()
            return False
        if since_s <= _RISEN_S:
            self._take_sign(tens, level)
        fell = level < 1 + (1 - self.values["fall_share"]) * (self._peak - 1)
        if since_s > _RISEN_S or (fell and not self._by_melt):
            if level < 1 + self.values["rise_percent"] / 200:
                self._risen_ns = 0
            return False
        return fell

    def _take_sign(self, tens: Tens, level: float) -> None:
        pipe = ratio(self._pipe(tens), self._usual["pipe"])
        if not isnan(pipe):
            self._signs.append(pipe > 1 + _BY_MELT * (level - 1))
        else:
            self._signs.append(self.value(tens, MELT) - self._usual["melt"] > _WARMER_K)

    @property
    def _by_melt(self) -> bool:
        """Whether most of the tens of seconds say so: one alone may be chance."""
        return sum(self._signs) > len(self._signs) / 2

    def _pipe(self, tens: Tens) -> float:
        loss = self.value(tens, HEAD) - self.value(tens, INLET)
        return loss if loss > 1.0 else float("nan")

    def onset_ns(self, tens: Tens) -> int:
        """When the pressure rose."""
        return self._risen_ns

    def learn(self, tens: Tens) -> None:
        """Pressure, loss in the pipe and melt temperature of sound running."""
        if self._risen_ns or self._flow.uneven or self.unsettled(tens, wipe_s=30.0) is not None:
            return
        self._usual.learn((self.value(tens, self._path), self._pipe(tens), self.value(tens, MELT)))

    def begun(self, tens: Tens) -> Words:
        """How far it rose, and how far it has fallen."""
        bar, usual = self.value(tens, self._path), self._usual["die"]
        for_min = (tens.time_ns - self._risen_ns) / NS / 60
        told = self._told_ns is not None and tens.time_ns - self._told_ns < _TOLD_S * NS
        lot = " Another lot was noted shortly before." if told else ""
        sentence = (
            f"A stiffer melt has come through: the die pressure rose by {100 * (self._peak - 1):.0f} % "
            "within "
            f"minutes, with the loss before the filter, and is falling again ({bar:.0f} bar, usually "
            f"{usual:.0f} bar). It looks like what is left of another material; pellets of the last "
            f"{for_min:.0f} min and of the next minutes are suspect.{lot}"
        )
        figures = {
            "die pressure": (bar, "bar"),
            "usual die pressure": (usual, "bar"),
            "highest rise": (100 * (self._peak - 1), "%"),
        }
        self._risen_ns = 0
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """That it is as before."""
        bar = self.value(tens, self._path)
        return f"The die pressure is {bar:.0f} bar again. How much is left in dead corners is not known."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "usual": self._usual.save(),
            "flow": self._flow.save(),
            "risen": self._risen_ns,
            "peak": self._peak,
            "signs": self._signs,
            "told": self._told_ns,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._usual.restore(state["usual"])
        self._flow.restore(state["flow"])
        self._risen_ns, self._peak, self._signs = state["risen"], state["peak"], list(state["signs"])
        self._told_ns = state["told"]
