"""Whether the doser weighs what it feeds: else it goes by its speed, and nobody knows the rate."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from math import isnan, nan
from typing import Any

from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.flow import RATE, RATE_SP
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S

MODE, REFILL, WEIGHT = "doser.mode.state", "doser.refill.state", "doser.weight.pv"

GRAVIMETRIC = 2.0
"""Source: OPC 40084-3, mode of a feeder."""

_WINDOW = 12  # tens of seconds over which the hopper must get lighter
_LEAST_KG = 2.0


def is_weighed(stage: Stage, tens: Tens) -> bool:
    """Whether the feed rate comes from the scale: not in a refill, nor while the doser goes by its speed."""
    modes, refills = (tens.rows[:, stage.column[p]] if p in stage.column else None for p in (MODE, REFILL))
    by_speed = modes is not None and bool((modes != GRAVIMETRIC).any())
    refilling = refills is not None and bool((refills > 0).any())
    return not by_speed and not refilling


class DoserUnweighed(ConditionRule):
    """Rule ``doser-unweighed``."""

    RULE = "doser-unweighed"
    SUBJECT = "doser"
    TAGS = (MODE, WEIGHT, RATE, RATE_SP, REFILL)

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._weights: deque[float] = deque(maxlen=_WINDOW)
        self._by_speed = False  # how it was seen

    def why_not(self, tens: Tens) -> str | None:
        """It is judged while melt runs."""
        refilling = self.last(tens, REFILL) == 1
        weight = self.value(tens, WEIGHT)
        if refilling or isnan(weight):
            self._weights.clear()
        else:
            self._weights.append(weight)
        return self.unsettled(tens, start_s=0.0, settle_s=_WINDOW * TENS_S)

    def holds(self, tens: Tens) -> bool | None:
        """It says so itself, or its hopper does not get lighter while it says that it feeds."""
        mode = self.last(tens, MODE)
        self._by_speed = mode not in (GRAVIMETRIC,) and not isnan(mode)
        if self._by_speed:
            return True
        expected = self.value(tens, RATE) / 3600 * (_WINDOW - 1) * TENS_S
        lost = self._lost_kg
        if isnan(lost) or isnan(expected):
            return None if isnan(mode) else False
        return expected > _LEAST_KG and lost < self.values["loss_share"] * expected

    @property
    def _lost_kg(self) -> float:
        full = len(self._weights) == _WINDOW
        return self._weights[0] - self._weights[-1] if full else nan

    def begun(self, tens: Tens) -> Words:
        """Which of both."""
        rate = self.value(tens, RATE)
        for_min = (tens.time_ns - self.episode.onset_ns) / 6e10
        if self._by_speed:
            sentence = (
                f"The doser has fed by its speed alone for {for_min:.0f} min, without its scale, and no "
                "refill "
                f"takes that long. The {rate:.0f} kg/h that it shows are not weighed."
            )
        else:
            sentence = (
                f"The doser shows {rate:.0f} kg/h, but its hopper has lost only {max(self._lost_kg, 0):.1f} "
                "kg "
                "in two minutes. Whether the scale is stuck or nothing is fed is not known."
            )
        return sentence, {"feed shown": (rate, "kg/h"), "lost in two minutes": (self._lost_kg, "kg")}

    def over(self, tens: Tens) -> str:
        """That it weighs again."""
        return "The doser feeds by its scale again."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "weights": list(self._weights), "by_speed": self._by_speed}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._weights.clear()
        self._weights.extend(state["weights"])
        self._by_speed = state["by_speed"]
