"""Whether the screw gets less than it is set to: a bridge in the throat, an empty or light hopper.

A command is compared with its consequence: the feed with its set-point, and the screw's torque with what it
usually needs at its speed. A thinner melt lowers the die pressure but hardly the torque.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any

from rules.detectors.extrusion.doser import REFILL, is_weighed
from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.flow import RATE, RATE_SP
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S
from rules.seen.usual_values import Usual, ratio

TORQUE, SPEED = "extruder.drive.torque.pv", "extruder.screw.speed.pv"
DOSING_SPEED = "doser.screw.speed.pv"
DIE, OUTLET = "die.pressure.pv", "filter.outlet.pressure.pv"

_TURNS = 1.0
_DOSING_FASTER = 1.15
_ALONE = 0.7


class FeedStarved(ConditionRule):
    """Rule ``feed-starved``."""

    RULE = "feed-starved"
    SUBJECT = "extruder.feed"
    TAGS = (RATE, RATE_SP, TORQUE, DIE, "doser.weight.pv", DOSING_SPEED, "extruder.throat.temp.pv")

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._usual = Usual(("torque", "die", "dosing"))
        self._die = DIE if DIE in stage.column else OUTLET
        self._fed = 0  # tens of seconds that the screw has turned and feed was asked for
        self._idle = 0  # tens of seconds that it was not so

    def why_not(self, tens: Tens) -> str | None:
        """A line that is starved may look as if it stood: its own screw and set-point tell."""
        speed, asked = self.last(tens, SPEED), self.last(tens, RATE_SP)
        if isnan(speed) or (RATE_SP in self.stage.column and isnan(asked)):
            return "it is not known whether screw and feed run"
        fed = speed > _TURNS and not asked <= 0
        self._fed, self._idle = (self._fed + 1, 0) if fed else (0, self._idle + 1)
        if not fed:
            return "melt stands"
        settle_s = self.values["settle_s"]
        if self._fed * TENS_S < settle_s or tens.line.feed_changed_s < settle_s:
            return "feed or a speed was changed"
        return None

    def stopped(self, tens: Tens) -> bool:
        """Whether screw or feed have been switched off."""
        return self._idle * TENS_S >= 60

    def holds(self, tens: Tens) -> bool | None:
        """Too little feed and too little torque; or too little torque and die pressure."""
        torque = ratio(self.value(tens, TORQUE), self._usual["torque"])
        die = ratio(self.value(tens, self._die), self._usual["die"])
        share = self._share(tens)
        short = share < self.values["feed_share"]
        light = torque < self.values["torque_share"]
        if isnan(torque):
            # A doser that has just begun may be short for a minute: only much too little counts alone.
            much = share < _ALONE * self.values["feed_share"]
            return None if isnan(share) else much or (short and die < self.values["die_share"])
        if isnan(share) and isnan(die):
            return None
        return light and (short or die < self.values["die_share"])

    def _share(self, tens: Tens) -> float:
        """Feed as a share of its set-point; NaN while it is not weighed."""
        if not is_weighed(self.stage, tens):
            return float("nan")
        asked = self.last(tens, RATE_SP)
        return self.value(tens, RATE) / asked if asked > 0 else float("nan")

    def learn(self, tens: Tens) -> None:
        """What torque and die pressure usually are at this feed and speed."""
        if tens.line.feed_changed_s == 0:
            self._usual.forget()
        near = not self._share(tens) < (1 + self.values["feed_share"]) / 2
        if self.episode.waits or not near or self.unsettled(tens, wipe_s=30.0) is not None:
            return
        self._usual.learn((self.value(tens, TORQUE), self.value(tens, self._die), self._dosing(tens)))

    def _dosing(self, tens: Tens) -> float:
        return self.value(tens, DOSING_SPEED) if self.last(tens, REFILL) != 1 else float("nan")

    def begun(self, tens: Tens) -> Words:
        """Which of them fell, and how far."""
        asked, rate = self.last(tens, RATE_SP), self.value(tens, RATE)
        torque, usual = self.value(tens, TORQUE), self._usual["torque"]
        seen = []
        if self._share(tens) < self.values["feed_share"]:
            seen.append(f"the feed is {rate:.0f} kg/h where {asked:.0f} kg/h are set")
        if not isnan(ratio(torque, usual)):
            seen.append(f"the screw's torque is {torque:.0f} % where {usual:.0f} % are usual at this speed")
        dosing = ratio(self._dosing(tens), self._usual["dosing"])
        if dosing > _DOSING_FASTER:
            seen.append(f"the dosing screw turns {100 * (dosing - 1):.0f} % faster than usual")
        sentence = (
            f"The screw gets too little material: {', and '.join(seen)}. Whether throat, hopper or dosing "
            "screw let nothing through, or the material is lighter, is not known."
        )
        figures = {
            "feed": (rate, "kg/h"),
            "feed set": (asked, "kg/h"),
            "torque": (torque, "%"),
            "usual torque": (usual, "%"),
            "die pressure": (self.value(tens, self._die), "bar"),
            "usual die pressure": (self._usual["die"], "bar"),
        }
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """That it runs full again."""
        rate = self.value(tens, RATE)
        return (
            f"The screw is fed again: {rate:.0f} kg/h." if rate > 0 else "The screw's torque is usual again."
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "usual": self._usual.save(), "fed": self._fed, "idle": self._idle}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._usual.restore(state["usual"])
        self._fed, self._idle = state["fed"], state["idle"]
