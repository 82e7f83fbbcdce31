"""Whether melt smears over the die plate: the knives catch unevenly while the die pressure is as ever."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any

from historian.frame import NS
from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.jitter import Jitter
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S
from rules.seen.told import DIE_DROOL
from rules.seen.usual_values import Usual, ratio

TORQUE, DIE, FINES = "pelletizer.knife.torque.pv", "die.pressure.pv", "water.fines.level.pv"

_WINDOW = 6  # tens of seconds


class DieDrool(ConditionRule):
    """Rule ``die-drool``: by a person's mark, or by the unrest of the knives' torque."""

    RULE = "die-drool"
    SUBJECT = "die"
    TAGS = (TORQUE, DIE, FINES)

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._knives, self._die = Jitter(_WINDOW), Jitter(_WINDOW)
        self._usual = Usual(("knives", "die"))
        self._marked_ns: int | None = None
        self._seen = 0  # tens of seconds of unrest in a row

    def why_not(self, tens: Tens) -> str | None:
        """Judged in running, settled melt; a person's mark at any time."""
        if any(t.what == DIE_DROOL for t in tens.told):
            self._marked_ns = tens.time_ns
        why = self.unsettled(tens, settle_s=self.values["settle_s"])
        if why is not None:
            self._knives.forget()
            self._die.forget()
            self._seen = 0
        elif self.wiping.wiped_s >= 30.0:
            self._knives.push(self.stage.at(tens.rows, TORQUE))
            self._die.push(self.stage.at(tens.rows, DIE))
        return None if self._is_marked(tens) else why

    def _is_marked(self, tens: Tens) -> bool:
        hold_ns = self.values["mark_s"] * NS
        return self._marked_ns is not None and tens.time_ns - self._marked_ns <= hold_ns

    def holds(self, tens: Tens) -> bool | None:
        """Marked, or the torque jumps far more than usual while the die pressure does not."""
        if self._is_marked(tens):
            return True
        knives = ratio(self._knives.step, self._usual["knives"])
        if isnan(knives):
            return None
        calm = not self._die.step > self.values["die_ratio"] * self._usual["die"]
        limit = self.values["unrest_ratio"]
        uneasy = calm and knives > ((1 + limit) / 2 if self.episode.standing else limit)
        self._seen = self._seen + 1 if uneasy else 0
        return uneasy if self.episode.standing else self._seen * TENS_S > self.values["seen_s"]

    def onset_ns(self, tens: Tens) -> int:
        """Since when the torque has been uneasy."""
        return tens.time_ns - int(max(self._seen - 1, 0) * TENS_S) * NS

    def learn(self, tens: Tens) -> None:
        """The unrest of sound running."""
        if self._seen or self.unsettled(tens, wipe_s=30.0) is not None or isnan(self._knives.step):
            return
        if self._knives.step < 1.5 * self._usual["knives"] or isnan(self._usual["knives"]):
            self._usual.learn((self._knives.step, self._die.step))

    def begun(self, tens: Tens) -> Words:
        """Who saw it, or how uneasy the torque is."""
        jumps = ratio(self._knives.step, self._usual["knives"])
        if self._is_marked(tens):
            sentence = "A person has seen melt smeared over the die plate. How much of it is not known."
        else:
            sentence = (
                f"The torque of the knives jumps {jumps:.1f} times as much as usual while the die pressure "
                "is "
                "calm: melt may be smeared over the die plate. This is a weak sign; only a look will tell."
            )
        figures = {
            "unrest against usual": (jumps, "1"),
            "knife torque": (self._knives.mean, "%"),
            "fines level": (self.value(tens, FINES), "mm"),
        }
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """That it is calm, or was not marked again."""
        return "The torque of the knives is as calm as usual, and no smeared melt was marked again."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        marks = {"marked": self._marked_ns, "seen": self._seen}
        return {
            **super().save(),
            "knives": self._knives.save(),
            "die": self._die.save(),
            "usual": self._usual.save(),
            **marks,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._knives.restore(state["knives"])
        self._die.restore(state["die"])
        self._usual.restore(state["usual"])
        self._marked_ns, self._seen = state["marked"], state["seen"]
