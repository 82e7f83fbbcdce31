"""Whether pellets get longer or shorter by calculation: the flow over the speed of the knives has changed.

Frozen holes make pellets longer too, but not by calculation: theirs is the affair of the die's own rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any

from historian.frame import NS
from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.flow import RATE, Flow
from rules.seen.stage import Stage, Tens
from rules.seen.usual_values import Usual, ratio

SPEED, SPEED_SP = "pelletizer.knife.speed.pv", "pelletizer.knife.speed.sp"

_CUTS = 100.0


class PelletLength(ConditionRule):
    """Rule ``pellet-length``: the knives are off their set-point, or off what the flow asks for."""

    RULE = "pellet-length"
    SUBJECT = "pelletizer.knife"
    TAGS = (SPEED, SPEED_SP, RATE, "die.pressure.pv")

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._usual = Usual(("length",))  # kg/h for each 1/min
        self._flow = Flow(stage)
        self._off_ns = 0  # since when the speed is off its set-point; 0: it is not
        self._wrong_ns = 0  # since when the length is off
        self._wanted = float("nan")
        self._by_speed = False

    def why_not(self, tens: Tens) -> str | None:
        """Judged while knives cut and melt runs settled."""
        self._flow.push(tens)
        wanted = self.last(tens, SPEED_SP)
        if abs(wanted - self._wanted) > 0.02 * self._wanted and not self._flow_moved(tens):
            self._usual.forget()  # another length is wanted
        self._wanted = self._wanted if isnan(wanted) else wanted
        if not self.value(tens, SPEED) > _CUTS:
            return "the knives do not cut"
        return self.unsettled(tens, start_s=self.values["start_s"], settle_s=self.values["settle_s"])

    def _flow_moved(self, tens: Tens) -> bool:
        return self.unsettled(tens, settle_s=0.0) is not None or self._flow.uneven

    def holds(self, tens: Tens) -> bool | None:
        """Either of both, for its time."""
        speed, wanted = self.value(tens, SPEED), self.last(tens, SPEED_SP)
        off = abs(speed / wanted - 1) if wanted > 0 else float("nan")
        change = ratio(self._length(tens), self._usual["length"]) - 1
        if isnan(off) and isnan(change):
            return None
        is_off = off > self.values["speed_percent"] / 100
        is_wrong = abs(change) > self.values["length_percent"] / 100 and not self._flow.uneven
        self._off_ns = (self._off_ns or tens.time_ns) if is_off else 0
        self._wrong_ns = (self._wrong_ns or tens.time_ns) if is_wrong else 0
        if self.episode.standing:
            return is_off or is_wrong
        self._by_speed = is_off and tens.time_ns - self._off_ns >= self.values["speed_s"] * NS
        lasting = is_wrong and tens.time_ns - self._wrong_ns >= self.values["length_s"] * NS
        return self._by_speed or lasting

    def _length(self, tens: Tens) -> float:
        return ratio(self._flow.kg_h, self.value(tens, SPEED))

    def onset_ns(self, tens: Tens) -> int:
        """Since when the sign that convinced has been seen."""
        return self._off_ns if self._by_speed else self._wrong_ns

    def learn(self, tens: Tens) -> None:
        """Flow over speed in sound running."""
        if self._off_ns or self._wrong_ns or self._flow.uneven or self.unsettled(tens) is not None:
            return
        self._usual.learn((self._length(tens),))

    def begun(self, tens: Tens) -> Words:
        """Speed and length."""
        speed, wanted, flow = self.value(tens, SPEED), self.last(tens, SPEED_SP), self._flow.kg_h
        change = 100 * (ratio(self._length(tens), self._usual["length"]) - 1)
        how = "longer" if change > 0 else "shorter"
        by = f"pellets are {abs(change):.0f} % {how} than usual by calculation"
        if self._by_speed:
            off = "faster" if speed > wanted else "slower"
            length = f": {by}" if not isnan(change) else ""
            sentence = (
                f"The knives turn at {speed:.0f} 1/min, {abs(100 * (speed / wanted - 1)):.0f} % {off} than "
                f"set{length}. Why the drive does not follow is not known."
            )
        else:
            sentence = (
                f"At {flow:.0f} kg/h and {speed:.0f} 1/min of the knives {by}. Whether that is wanted is not "
                "known; the real length shows in a sample."
            )
        figures = {
            "knife speed": (speed, "1/min"),
            "set": (wanted, "1/min"),
            "flow": (flow, "kg/h"),
            "length against usual": (change, "%"),
        }
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """That flow and speed fit again."""
        return "Flow and speed of the knives fit together as usual again."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "usual": self._usual.save(),
            "flow": self._flow.save(),
            "off": self._off_ns,
            "wrong": self._wrong_ns,
            "wanted": None if isnan(self._wanted) else self._wanted,
            "by_speed": self._by_speed,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._usual.restore(state["usual"])
        self._flow.restore(state["flow"])
        self._off_ns, self._wrong_ns, self._by_speed = state["off"], state["wrong"], state["by_speed"]
        self._wanted = float("nan") if state["wanted"] is None else state["wanted"]
