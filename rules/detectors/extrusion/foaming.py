"""Whether the melt foams: wet feed, or volatiles that the vent does not take away.

Bubbles let the pressure before the die fall and jump from second to second, without a period. A surge swings
slowly: its steps from second to second are small.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan, nan
from typing import Any

from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.flow import Flow
from rules.seen.jitter import Jitter
from rules.seen.stage import Stage, Tens
from rules.seen.usual_values import Usual, ratio

OUTLET, DIE = "filter.outlet.pressure.pv", "die.pressure.pv"
VACUUM = "extruder.vent.1.pressure.pv"

_WINDOW = 8  # tens of seconds without a cleaning
_WITH_VENT = (0.25, 0.12)  # shares of the fall and of the unrest that convince beside a burdened vent


class Foaming(ConditionRule):
    """Rule ``foaming``."""

    RULE = "foaming"
    SUBJECT = "extruder.melt"
    TAGS = (OUTLET, DIE, VACUUM, "extruder.drive.torque.pv", "filter.dp.calc")

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._path = OUTLET if OUTLET in stage.column else DIE
        self._jitter = Jitter(_WINDOW)
        self._usual = Usual(("step", "mean", "vacuum"))
        self._flow = Flow(stage)

    def why_not(self, tens: Tens) -> str | None:
        """Judged in running, settled melt; tens with a cleaning are passed over."""
        self._flow.push(tens)
        why = self.unsettled(tens, start_s=300.0, settle_s=self.values["settle_s"])
        if why is not None:
            self._jitter.forget()
            if tens.line.feed_changed_s == 0 and not self.episode.standing:
                self._usual.forget()
            return why
        if self.wiping.wiped_s >= 40.0:
            self._jitter.push(self.stage.at(tens.rows, self._path))
        return None

    def holds(self, tens: Tens) -> bool | None:
        """Steps larger than usual, and the mean lower."""
        step, mean = self._jitter.step, self._jitter.mean
        usual, level = self._usual["step"], self._usual["mean"]
        if any(isnan(v) for v in (step, mean, usual, level)):
            return None
        if self.episode.standing:
            still = step > (1 + self.values["unrest_ratio"]) / 2 * usual and mean < 0.98 * level
            return still or self._is_burdened(tens)
        if self._flow.uneven:
            return False
        fell, jumps = 100 * (1 - ratio(mean, level)), ratio(step, usual)
        # A burdened vent is a witness of its own: much less of the other two convinces then.
        part = _WITH_VENT if self._is_burdened(tens) else (1.0, 1.0)
        much = fell > part[0] * self.values["fall_percent"]
        return much and jumps > 1 + part[1] * (self.values["unrest_ratio"] - 1)

    def _is_burdened(self, tens: Tens) -> bool:
        return self.value(tens, VACUUM) > self.values["vent_ratio"] * self._usual["vacuum"]

    def learn(self, tens: Tens) -> None:
        """Steps, level and vacuum of sound running."""
        if self.episode.waits or self._flow.uneven or self.unsettled(tens, wipe_s=40.0) is not None:
            return
        step = self._jitter.step
        usual = self._usual["step"]
        if (
            isnan(step) or step > 1.3 * usual or self._is_burdened(tens)
        ):  # what may be the beginning of it teaches nothing
            return
        self._usual.learn((step, self._jitter.mean, self.value(tens, VACUUM)))

    def begun(self, tens: Tens) -> Words:
        """How far it fell, how much it jumps, and the vacuum."""
        mean, level = self._jitter.mean, self._usual["mean"]
        jumps = ratio(self._jitter.step, self._usual["step"])
        vacuum, was = self.value(tens, VACUUM), self._usual["vacuum"]
        at_vent = (
            f" The vent stands at {vacuum:.0f} mbar, usually at {was:.0f} mbar."
            if self._is_burdened(tens)
            else ""
        )
        sentence = (
            f"The melt seems to foam: the pressure before the die is {100 * (1 - ratio(mean, level)):.0f} % "
            "lower "
            "and "
            f"jumps {jumps:.1f} times as much as usual, without a period.{at_vent} Whether moisture or "
            "another "
            "volatile is behind it is not known."
        )
        figures = {
            "pressure": (mean, "bar"),
            "usual pressure": (level, "bar"),
            "unrest against usual": (jumps, "1"),
            "vent": (vacuum, "mbar"),
            "usual vent": (was if not isnan(was) else nan, "mbar"),
        }
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """That it is calm again."""
        return f"The melt pressure is calm again at {self._jitter.mean:.0f} bar."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "jitter": self._jitter.save(),
            "usual": self._usual.save(),
            "flow": self._flow.save(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._jitter.restore(state["jitter"])
        self._usual.restore(state["usual"])
        self._flow.restore(state["flow"])
