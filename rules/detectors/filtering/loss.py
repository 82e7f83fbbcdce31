"""Whether more melt leaves by the discharge than before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import isnan
from typing import Any

from historian.frame import NS
from rules.detectors.filtering.log import WEIGHT
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens

_BETWEEN_S = 60.0  # since the wiper moved: what the outlet brings out then is no part of a cleaning
_WINDOW_NS = 900 * NS
_LEAST_KG = 0.15
_SWAPPED_KG = 0.05
_LEAP_KG = 0.2  # in ten seconds: a cleaning that was not seen, or somebody at the bin; no valve that leaks


class DischargeLoss(TensRule):
    """Rule ``discharge-loss``: the discharge grows heavier while no cleaning is under way."""

    RULE = "discharge-loss"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._column = stage.column[WEIGHT]
        self._last: float | None = None
        self._from_ns: int | None = None
        self._in_kg = self._between_kg = 0.0
        self._standing = False

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say; decided every quarter of an hour."""
        why = tens.line.unsettled(settle_s=0.0)
        yield from self.blind.note(tens.time_ns, why)
        weight = float(tens.last[self._column])
        if why is not None or isnan(weight):
            self._from_ns = self._last = None
            if self._standing and tens.line.standing_s > 60:
                self._standing = False
                yield self._said(tens, "The line stands; the discharge is not judged.", {}, active=False)
            return
        if self._from_ns is None or self._last is None:
            self._from_ns, self._last, self._in_kg, self._between_kg = tens.time_ns, weight, 0.0, 0.0
            return
        grown, self._last = weight - self._last, weight
        if grown < -_SWAPPED_KG:
            return  # the bin was changed
        if grown > _LEAP_KG and tens.line.wiped_s > _BETWEEN_S:
            return
        if tens.line.wiped_s > _BETWEEN_S:
            self._between_kg += max(grown, 0.0)
        else:
            self._in_kg += max(grown, 0.0)
        if tens.time_ns - self._from_ns >= _WINDOW_NS:
            yield from self._decide(tens)
            self._from_ns, self._in_kg, self._between_kg = tens.time_ns, 0.0, 0.0

    def _decide(self, tens: Tens) -> Iterable[Finding]:
        total = self._in_kg + self._between_kg
        share = 100 * self._between_kg / total if total > 0 else 0.0
        loses = self._between_kg > _LEAST_KG and share > self.values["share_percent"]
        if loses == self._standing:
            return
        self._standing = loses
        figures = {"between cleanings": (self._between_kg, "kg"), "in cleanings": (self._in_kg, "kg")}
        sentence = (
            f"In the last quarter of an hour {self._between_kg:.1f} kg left by the discharge between "
            f"cleanings, {share:.0f} % of all that left there: the outlet does not close or is open too long."
            if loses
            else "Hardly anything leaves by the discharge between cleanings any more."
        )
        yield self._said(tens, sentence, figures, active=loses)

    def _said(
        self, tens: Tens, sentence: str, figures: Mapping[str, tuple[float, str]], *, active: bool
    ) -> Finding:
        onset_ns = tens.time_ns - _WINDOW_NS if active else None
        tags = (WEIGHT, "filter.discharge.valve.state", "filter.wiper.state")
        return self.finding(
            "filter.discharge", active, tens.time_ns, sentence, onset_ns=onset_ns, tags=tags, figures=figures
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        kept = {"last": self._last, "from": self._from_ns, "in": self._in_kg, "between": self._between_kg}
        return {**super().save(), **kept, "standing": self._standing}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._last, self._from_ns = state["last"], state["from"]
        self._in_kg, self._between_kg, self._standing = state["in"], state["between"], state["standing"]
