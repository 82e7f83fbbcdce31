"""Whether the vent takes its gas away: its vacuum is lost, or melt climbs into it."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from math import isnan, nan
from typing import Any

from historian.frame import NS
from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.stage import Stage, Tens
from rules.seen.told import VENT_FLOW
from rules.seen.usual_values import Usual, ratio

VACUUM, DOME, PUMP = "extruder.vent.1.pressure.pv", "extruder.vent.1.temp.pv", "extruder.vent.pump.current.pv"
HEAD, DIE = "extruder.head.pressure.pv", "die.pressure.pv"

_LOST, _FLOWS, _MARKED = "lost", "flows", "marked"
_WARM_S = 1500.0  # after melt-on, or another set-point of a zone. common practice, no source
_DOME_TENS = 31  # tens of seconds: five minutes


class VentVacuum(ConditionRule):
    """Rule ``vent-vacuum``: by a person's mark, by a warm dome with its signs, or by lost vacuum."""

    RULE = "vent-vacuum"
    SUBJECT = "extruder.vent.1"
    TAGS = (VACUUM, DOME, PUMP, HEAD, DIE)

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._usual = Usual(("head", "vacuum"))
        self._marked_ns: int | None = None
        self._kind = _LOST
        self._dome: deque[float] = deque(maxlen=_DOME_TENS)
        self._held = {_LOST: 0, _FLOWS: 0}  # since when each sign is seen, ns; 0: it is not

    def why_not(self, tens: Tens) -> str | None:
        """Judged in running melt; a person's mark at any time."""
        if any(t.what == VENT_FLOW for t in tens.told):
            self._marked_ns = tens.time_ns
        if tens.line.feed_changed_s == 0 and not self.episode.standing:
            self._usual.forget()
        if tens.line.feed_changed_s < self.values["settle_s"]:
            self._dome.clear()
        self._dome.append(self.value(tens, DOME))
        return None if self._is_marked(tens) else self.unsettled(tens, settle_s=self.values["settle_s"])

    def _is_marked(self, tens: Tens) -> bool:
        hold_ns = self.values["mark_s"] * NS
        return self._marked_ns is not None and tens.time_ns - self._marked_ns <= hold_ns

    def holds(self, tens: Tens) -> bool | None:
        """One of the three."""
        if self._is_marked(tens):
            self._kind = _MARKED if not self.episode.standing else self._kind
            return True
        vacuum = self.value(tens, VACUUM)
        band = self.values["dead_band_mbar"] if self.episode.standing else 0.0
        lost = self._lasts(_LOST, vacuum > self.values["limit_mbar"] - band, self.values["lost_s"], tens)
        flows = self._lasts(_FLOWS, self._looks_like_flow(tens), self.values["flow_s"], tens)
        if not self.episode.standing and (lost or flows):
            self._kind = _FLOWS if flows else _LOST
        if isnan(vacuum) and isnan(self.value(tens, DOME)):
            return None
        return lost or flows

    def _looks_like_flow(self, tens: Tens) -> bool:
        if min(tens.line.running_s, tens.line.heat_changed_s) < _WARM_S:
            return False
        warmer = self._dome[-1] - self._dome[0] if len(self._dome) == _DOME_TENS else nan
        head = ratio(self.value(tens, HEAD), self._usual["head"])
        vacuum = ratio(self.value(tens, VACUUM), self._usual["vacuum"])
        sign = head > self.values["head_ratio"] or vacuum > self.values["vacuum_ratio"]
        return warmer > self.values["dome_k"] and sign

    def _lasts(self, kind: str, seen: bool, least_s: float, tens: Tens) -> bool:
        self._held[kind] = (self._held[kind] or tens.time_ns) if seen else 0
        return seen and (self.episode.standing or tens.time_ns - self._held[kind] >= least_s * NS)

    def onset_ns(self, tens: Tens) -> int:
        """Since when the sign that convinced has been seen."""
        return self._held.get(self._kind) or self.episode.onset_ns

    def learn(self, tens: Tens) -> None:
        """Head pressure and vacuum of sound running."""
        if self.unsettled(tens, wipe_s=30.0) is not None or self._held[_LOST] or self._held[_FLOWS]:
            return
        self._usual.learn([self.value(tens, p) for p in (HEAD, VACUUM)])

    def begun(self, tens: Tens) -> Words:
        """Which of the three."""
        vacuum, dome, usual = self.value(tens, VACUUM), self.value(tens, DOME), self._usual["vacuum"]
        before = self._dome[0]
        if self._kind == _MARKED:
            sentence = (
                "A person has seen melt in the vent. How far it has climbed, and whether the line to the "
                "pump "
                "is free, is not known."
            )
        elif self._kind == _FLOWS:
            sentence = (
                f"Melt may be climbing into the vent: its dome is {dome:.0f} Cel, {dome - before:.0f} K "
                f"warmer than five minutes before, and it stands at {vacuum:.0f} mbar, usually at "
                f"{usual:.0f} mbar. No signal "
                "shows the melt itself; a look will tell."
            )
        else:
            sentence = (
                f"The vent has lost its vacuum: {vacuum:.0f} mbar absolute, above "
                f"{self.values['limit_mbar']:.0f} mbar. Whether it leaks, is shut, or gets more vapour than "
                "the pump takes, is not known."
            )
        figures = {
            "vent": (vacuum, "mbar"),
            "usual vent": (usual, "mbar"),
            "dome": (dome, "Cel"),
            "dome five minutes before": (before, "Cel"),
            "pump": (self.value(tens, PUMP), "A"),
            "head pressure": (self.value(tens, HEAD), "bar"),
        }
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """What it is now."""
        vacuum = self.value(tens, VACUUM)
        now = "" if isnan(vacuum) else f" It stands at {vacuum:.0f} mbar."
        if self._kind == _MARKED:
            return f"Melt in the vent was not marked again.{now} Whether it is free is not known."
        return f"The vent shows nothing unusual any more.{now}"

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        kept: dict[str, Any] = {"marked": self._marked_ns, "kind": self._kind, "held": dict(self._held)}
        kept["dome"] = [None if isnan(v) else v for v in self._dome]
        return {**super().save(), "usual": self._usual.save(), **kept}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._usual.restore(state["usual"])
        self._dome.clear()
        self._dome.extend(nan if v is None else v for v in state["dome"])
        self._marked_ns, self._kind, self._held = state["marked"], state["kind"], dict(state["held"])
