"""Whether the screw surges: pressure goes up and down in one regular wave."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from rules.detectors.extrusion.wave import Wave, WaveFollower
from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.flow import Flow
from rules.seen.stage import Stage, Tens

HEAD, OUTLET, DIE = "extruder.head.pressure.pv", "filter.outlet.pressure.pv", "die.pressure.pv"
SPEED, WIPER = "extruder.screw.speed.pv", "filter.wiper.state"

_EVERY = 3  # tens of seconds


class Surging(ConditionRule):
    """Rule ``surging``: judged by the pressure nearest to the screw, for the filter smooths it."""

    RULE = "surging"
    SUBJECT = "extruder.screw"
    TAGS = (HEAD, OUTLET, DIE, "extruder.drive.torque.pv", SPEED)

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._path = next((p for p in (HEAD, OUTLET, DIE) if p in stage.column), "")
        behind = next((p for p in (OUTLET, DIE) if p in stage.column and p != self._path), "")
        self._behind = behind  # what is left of it behind the filter; empty: no such signal
        self._follower, self._after = WaveFollower(), WaveFollower()
        self._flow = Flow(stage)
        self._wave: Wave | None = None
        self._since = 0  # tens of seconds since the wave was looked for

    def why_not(self, tens: Tens) -> str | None:
        """Judged in running, settled melt."""
        self._flow.push(tens)
        why = self.unsettled(tens, start_s=300.0, settle_s=self.values["settle_s"])
        if why is None and self._flow.uneven:
            why = "the feed is uneven"
        if why is not None:
            self._follower.forget()
            self._after.forget()
            self._wave, self._since = None, 0
            return why
        value = self.stage.at(tens.rows, self._path)
        wiping = self.stage.at(tens.rows, WIPER) > 0
        self._follower.push(tens.time_ns, value, wiping)
        if self._behind:
            self._after.push(tens.time_ns, self.stage.at(tens.rows, self._behind), wiping)
        self._since += 1
        if self._since >= _EVERY:
            self._since = 0
            self._wave = self._looked_for(self.value(tens, SPEED) / 60)
        return None

    def _looked_for(self, turns_per_s: float) -> Wave | None:
        """The wave at the screw, if something of it passes the filter: its dirt bends the pressure, too."""
        wave = self._follower.wave(turns_per_s, 0.75 * self.values["unrest_percent"])
        if wave is None or not self._behind or wave.share <= 0.75 * self.values["share"]:
            return wave
        passes = self._after.share_of(wave.period_s, turns_per_s)
        return wave if not passes < self.values["passed_share"] else replace(wave, share=0.0)

    def holds(self, tens: Tens) -> bool | None:
        """A regular wave that is large enough."""
        if self._wave is None:
            return None
        share = self.values["share"] * (0.75 if self.episode.standing else 1.0)
        least = self.values["unrest_percent"] * (0.8 if self.episode.standing else 1.0)
        return self._wave.share > share and self._wave.unrest_percent > least

    def begun(self, tens: Tens) -> Words:
        """Period and size of the wave."""
        wave = self._wave if self._wave is not None else Wave(*[float("nan")] * 4)
        size = float(np.sqrt(2 * wave.share)) * wave.unrest_percent
        sentence = (
            f"The screw surges: the melt pressure swings by {size:.1f} % up and down about every "
            f"{wave.period_s:.0f} s, and this one wave is {100 * wave.share:.0f} % of all its unrest. "
            "Whether the feed zone, the throat or the feed itself is behind it is not known."
        )
        figures = {
            "period": (wave.period_s, "s"),
            "swing": (size, "%"),
            "share of the unrest": (100 * wave.share, "%"),
            "pressure": (wave.mean, "bar"),
        }
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """That it is gone."""
        return "The melt pressure no longer swings regularly."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        wave = self._wave
        known = None if wave is None else [wave.unrest_percent, wave.share, wave.period_s, wave.mean]
        return {
            **super().save(),
            "follower": self._follower.save(),
            "after": self._after.save(),
            "flow": self._flow.save(),
            "wave": known,
            "since": self._since,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._follower.restore(state["follower"])
        self._after.restore(state["after"])
        self._flow.restore(state["flow"])
        self._wave = None if state["wave"] is None else Wave(*state["wave"])
        self._since = state["since"]
