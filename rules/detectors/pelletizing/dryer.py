"""Whether the dryer labours, or pellets no longer pass it."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any

import numpy as np

from rules.finding import Priority
from rules.line import LineFacts
from rules.seen.condition import Words
from rules.seen.episode import Episode
from rules.seen.flow import Flow
from rules.seen.seconds import Floats, SecondsRule
from rules.seen.stage import Stage, Tens
from rules.seen.usual_values import Usual

CURRENT, VIBRATION = "dryer.current.pv", "dryer.vibration.pv"
EXHAUST, MOISTURE = "dryer.exhaust.temp.pv", "pellet.moisture.pv"


class DryerOverload(SecondsRule):
    """Rule ``dryer-overload``: more current than this feed usually needs; far more or hardly any is a jam."""

    RULE = "dryer-overload"
    SUBJECT = "dryer"
    TAGS = (CURRENT, VIBRATION, "dryer.speed.pv", EXHAUST, MOISTURE)

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self.episode = Episode(0.0, self.values["clear_s"])  # its delays depend on how far it is off
        self._labours = Episode(self.values["held_s"], 0.0)
        self._jam = Episode(self.values["jam_s"], 0.0)
        self._usual = Usual(("current", "vibration"))
        self._flow = Flow(stage)
        self._judged = False  # in the ten seconds before
        self._column = stage.column[CURRENT]
        self._jammed = False
        self._stands = False  # the line

    def _off(self, current: Floats) -> Floats:
        usual = self._usual["current"]
        return current / (usual if usual > 0 else np.nan) - 1

    def near(self, value: Floats) -> bool:
        """Whether the current is unusual at all."""
        waits = any(e.standing or e.waits for e in (self._labours, self._jam))
        if waits or not self._judged:
            return waits
        off = self._off(value[:, self._column])
        high, low = self.values["over_percent"] / 100, self.values["empty_percent"] / 100
        return bool(((off > high) | (off < -low)).any())

    def second(self, time_ns: int, row: Floats) -> bool | None:
        """Too high for its time, or far off for a shorter one."""
        off = float(self._off(row[None, self._column])[0])
        if isnan(off) or not (self._judged or self.episode.standing):
            self._labours.judge(time_ns, False)
            self._jam.judge(time_ns, False)
            return None
        if self._stands and self.episode.standing:
            return False
        v = self.values
        jams = off > v["jam_percent"] / 100 or off < -v["empty_percent"] / 100
        # A cleaning takes a part of the melt for half a minute: that does not begin the delay anew.
        over = v["over_percent"] / (200 if self._labours.waits else 100)
        self._labours.judge(time_ns, off > over)
        self._jam.judge(time_ns, jams)
        self._jammed = self._jam.standing or (self._jammed and self.episode.standing)
        if self.episode.standing:
            return jams or off > v["over_percent"] / 200
        return self._labours.standing or self._jam.standing

    def onset_ns(self) -> int:
        """Since when it has been off."""
        seen = [e.onset_ns for e in (self._labours, self._jam) if e.standing]
        return min(seen, default=self.episode.onset_ns)

    def own(self) -> Priority:
        """A jam is more urgent than an overload."""
        return Priority.HIGH if self._jammed else Priority.MEDIUM

    def why_not(self, tens: Tens) -> str | None:
        """Judged in running, settled, even feed; learns what is usual then."""
        self._flow.push(tens)
        self._stands = tens.line.standing_s >= 60
        if tens.line.feed_changed_s == 0 and not self.episode.standing:
            self._usual.forget()
        why = tens.line.unsettled()
        if why is None and self._flow.uneven:
            why = "the feed is uneven"
        self._judged = why is None
        if why is None and not self.episode.standing and not self._labours.waits and not self._jam.waits:
            columns = (self.stage.column.get(p, -1) for p in (CURRENT, VIBRATION))
            self._usual.learn([float(tens.mean[c]) if c >= 0 else float("nan") for c in columns])
        if why is None and isnan(self._usual["current"]):
            why = "what is usual is not yet learnt"
        return why

    def begun(self, row: Floats) -> Words:
        """How much current, and its companions."""
        current, usual = float(row[self._column]), self._usual["current"]
        vibration = self.at(row, VIBRATION)
        if current < usual * (1 - self.values["empty_percent"] / 100):
            sentence = (
                f"The dryer draws only {current:.1f} A where {usual:.1f} A are usual at this feed: pellets "
                "hardly "
                "reach it, or its rotor has stopped. Where they go is not known."
            )
        else:
            what = "is jamming" if self._jammed else "labours"
            sentence = (
                f"The dryer {what}: it draws {current:.1f} A where {usual:.1f} A are usual at this feed. "
                "Whether "
                "its screen is clogged or lumps turn in it is not known."
            )
        figures = {
            "current": (current, "A"),
            "usual current": (usual, "A"),
            "vibration": (vibration, "mm/s"),
            "usual vibration": (self._usual["vibration"], "mm/s"),
            "moisture": (self.at(row, MOISTURE), "%"),
        }
        return sentence, figures

    def over(self, row: Floats) -> str:
        """The current now."""
        if self._stands:
            return "The line stands. Whether pellets pass the dryer is not known."
        return f"The dryer draws {float(row[self._column]):.1f} A, as usual."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        flags = {"judged": self._judged, "jammed": self._jammed, "stands": self._stands}
        return {
            **super().save(),
            "labours": self._labours.save(),
            "jam": self._jam.save(),
            "usual": self._usual.save(),
            "flow": self._flow.save(),
            **flags,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._labours.restore(state["labours"])
        self._jam.restore(state["jam"])
        self._usual.restore(state["usual"])
        self._flow.restore(state["flow"])
        self._judged, self._jammed, self._stands = state["judged"], state["jammed"], state["stands"]
