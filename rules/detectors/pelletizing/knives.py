"""Whether the knives are blunt: they need more torque than at first, or samples have tails."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from math import isnan, nan
from statistics import median
from typing import Any

from historian.frame import NS
from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.flow import Flow
from rules.seen.stage import Stage, Tens
from rules.seen.told import KNIVES_CHANGED
from rules.seen.usual_values import ratio

TORQUE, HOURS = "pelletizer.knife.torque.pv", "pelletizer.knife.hours.total"
PRESSURE, PRESSURE_SP = "pelletizer.knife.pressure.pv", "pelletizer.knife.pressure.sp"
SPEED = "pelletizer.knife.speed.pv"
TAILS = "lab tails"

# Of the torque of sharp knives, so much goes with the flow; the rest is contact. common practice, no source
_FLOW_SHARE = 0.6
_LEARNT = 90  # tens of seconds of sound running from which the torque of these knives is known
_LATELY = 60
_WITH_TAILS = 0.4  # of the rise that convinces alone, when the laboratory finds tails as well
# Results that come so soon after new knives are of samples that the old ones cut. common practice, no source
_LAB_NS = 3600 * NS


class KnifeWorn(ConditionRule):
    """Rule ``knife-worn``: more torque than these knives needed at first, at the same flow; or tails."""

    RULE = "knife-worn"
    SUBJECT = "pelletizer.knife"
    TAGS = (TORQUE, PRESSURE, SPEED, HOURS, "doser.rate.pv")

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._flow = Flow(stage)
        self._first: list[tuple[float, float]] = []  # torque and flow, until the torque at first is known
        self._at_first: tuple[float, float] | None = None
        self._lately: deque[float] = deque(maxlen=_LATELY)  # torque against that at first, at this flow
        self._changed_ns: int | None = None
        self._hours = nan
        self._contact = nan
        self._tails: list[float] = []  # the last two results of the laboratory

    def why_not(self, tens: Tens) -> str | None:
        """Judged in running, settled melt between cleanings, once new knives have run in."""
        self._flow.push(tens)
        self._follow_knives(tens)
        why = self.unsettled(tens, wipe_s=30.0)
        if why is not None:
            return why
        if self._flow.uneven:
            return "the feed is uneven"
        run_in_ns = self.values["run_in_s"] * NS
        if self._changed_ns is not None and tens.time_ns - self._changed_ns < run_in_ns:
            return "new knives run in"
        return None

    def _follow_knives(self, tens: Tens) -> None:
        hours, contact = self.last(tens, HOURS), self.last(tens, PRESSURE_SP)
        if any(t.what == KNIVES_CHANGED for t in tens.told) or hours < self._hours - 1:
            self._forget()
            self._changed_ns = tens.time_ns
        elif abs(contact - self._contact) > 0.02 * self._contact:
            self._forget()  # another contact pressure, another torque
        self._hours = self._hours if isnan(hours) else hours
        self._contact = self._contact if isnan(contact) else contact
        if self._changed_ns is None or tens.time_ns - self._changed_ns > _LAB_NS:
            self._tails = [*self._tails, *(t.value for t in tens.told if t.what == TAILS)][-2:]

    def _forget(self) -> None:
        self._first, self._at_first, self._tails = [], None, []
        self._lately.clear()

    def holds(self, tens: Tens) -> bool | None:
        """More torque than at first; with tails from the laboratory, less of it convinces."""
        torque, flow = self.value(tens, TORQUE), self._flow.kg_h
        if isnan(torque):
            return None
        if self._at_first is None:
            self._learn_first(torque, flow)
            return None
        at_first, flow_then = self._at_first
        share = flow / flow_then if flow_then > 0 and not isnan(flow) else 1.0
        against = ratio(torque, at_first * (1 - _FLOW_SHARE + _FLOW_SHARE * share))
        if isnan(against):
            return None
        self._lately.append(against)
        if len(self._lately) < _LATELY // 2:
            return None
        rise = median(self._lately) - 1
        limit = self.values["rise_percent"] / 100
        if self.episode.standing:
            return rise > 0.7 * limit or self._many_tails
        tailed = bool(self._tails) and self._tails[-1] > self.values["tails_percent"]
        return rise > limit or (tailed and rise > _WITH_TAILS * limit) or self._many_tails

    @property
    def _many_tails(self) -> bool:
        return len(self._tails) == 2 and min(self._tails) > self.values["tails_percent"]

    def _learn_first(self, torque: float, flow: float) -> None:
        self._first.append((torque, flow))
        if len(self._first) >= _LEARNT:
            flows = [f for _, f in self._first if not isnan(f)]
            self._at_first = median(t for t, _ in self._first), median(flows) if flows else nan
            self._first = []

    def begun(self, tens: Tens) -> Words:
        """How much more torque, and what the laboratory found."""
        rise = 100 * (median(self._lately) - 1)
        hours = f" They have run {self._hours:.0f} h." if not isnan(self._hours) else ""
        tails = self._tails[-1] if self._tails else nan
        found = f" The laboratory found {tails:.1f} % tails." if tails > self.values["tails_percent"] else ""
        more = f"The knives need {rise:.0f} % more torque than at first at the same flow"
        same = "The knives need no more torque than at first, but samples have tails twice in a row"
        sentence = f"{more if rise > 1 else same}: they may be blunt.{found}{hours} How their edges look is "
        "not known."
        figures = {
            "torque": (self.value(tens, TORQUE), "%"),
            "at first, at its flow": (self._at_first[0] if self._at_first else nan, "%"),
            "more than at first": (rise, "%"),
            "tails": (tails, "%"),
            "hours": (self._hours, "h"),
        }
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """That the torque is low again."""
        return f"The knives need {self.value(tens, TORQUE):.0f} % torque, as they used to."

    def stopped(self, tens: Tens) -> bool:
        """Blunt knives stay blunt while the line stands; others are not."""
        return self._at_first is None

    STOPPED = "The knives were changed, or are pressed otherwise. What is usual is learnt anew."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "flow": self._flow.save(),
            "first": [[t, None if isnan(f) else f] for t, f in self._first],
            "at_first": None if self._at_first is None else [_or_none(v) for v in self._at_first],
            "lately": list(self._lately),
            "changed": self._changed_ns,
            "hours": _or_none(self._hours),
            "contact": _or_none(self._contact),
            "tails": self._tails,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._flow.restore(state["flow"])
        self._first = [(t, _or_nan(f)) for t, f in state["first"]]
        known = state["at_first"]
        self._at_first = None if known is None else (_or_nan(known[0]), _or_nan(known[1]))
        self._lately.clear()
        self._lately.extend(state["lately"])
        self._changed_ns, self._tails = state["changed"], list(state["tails"])
        self._hours, self._contact = _or_nan(state["hours"]), _or_nan(state["contact"])


def _or_none(value: float) -> float | None:
    return None if isnan(value) else value


def _or_nan(value: float | None) -> float:
    return nan if value is None else value
