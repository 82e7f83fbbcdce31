"""What the rules have in common that judge cleaning by cleaning."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from rules.detectors.filtering.cause import MOST, Cause, CauseFollower, Usual
from rules.detectors.filtering.log import TORQUE, WEIGHT, Cleaning
from rules.detectors.filtering.rows import DIE, WIPER
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens

_GONE = 3  # cleanings as usual that end a finding


class CleaningRule(TensRule):
    """One cause of changed cleanings; the usual is not learnt from cleanings that show any."""

    CAUSE: ClassVar[Cause]
    SUBJECT: ClassVar[str]

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._causes = CauseFollower(stage)
        self._shown: list[Cleaning] = []  # the last ones, which show the cause
        self._gone = 0
        self._standing = False

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say: something at a cleaning only."""
        usual = self._causes.usual
        why = tens.line.unsettled()
        if why is None and usual is None:
            why = "what is usual is not known yet"
        yield from self.blind.note(tens.time_ns, why)
        for cleaning, cause in self._causes.follow(tens):
            if usual is not None:
                yield from self._take(cleaning, cause, usual, tens)
        if self._standing and tens.line.standing_s > 60:
            # Whether it is mended shows at the next cleanings; the alarm of a line that stands helps nobody.
            self._standing, self._shown = False, []
            yield self._said(tens, "The line has stopped; the next cleanings will show.", {}, active=False)

    def _take(self, cleaning: Cleaning, cause: Cause | None, usual: Usual, tens: Tens) -> Iterable[Finding]:
        if cause is self.CAUSE:
            self._shown, self._gone = [*self._shown, cleaning][-MOST:], 0
            if not self._standing and self.is_sure(self._shown, usual):
                self._standing = True
                yield self._began(self._shown, usual, tens)
            return
        self._gone += 1
        if not self._standing:
            self._shown = []
        elif self._gone >= _GONE and cause is None:
            self._standing, self._shown = False, []
            yield self._said(tens, f"The last {_GONE} cleanings were as usual again.", {}, active=False)

    def is_sure(self, shown: list[Cleaning], usual: Usual) -> bool:
        """Whether so many cleanings, one after the other, are enough."""
        return len(shown) >= self.values["cleanings"]

    def _began(self, shown: list[Cleaning], usual: Usual, tens: Tens) -> Finding:
        now = Usual.of(shown)
        figures = {
            "time between cleanings": (now.period_s, "s"),
            "usual time between": (usual.period_s, "s"),
            "taken off by a cleaning": (now.amplitude_bar, "bar"),
            "usually taken off": (usual.amplitude_bar, "bar"),
            "wiper torque": (now.torque_percent, "%"),
            "usual wiper torque": (usual.torque_percent, "%"),
            "discharged by a cleaning": (now.discharged_kg, "kg"),
            "usually discharged": (usual.discharged_kg, "kg"),
        }
        return self._said(tens, self.sentence(now, usual, len(shown)), figures, active=True)

    def sentence(self, now: Usual, usual: Usual, cleanings: int) -> str:
        """What is seen, for a foreman."""
        raise NotImplementedError

    def _said(
        self, tens: Tens, sentence: str, figures: Mapping[str, tuple[float, str]], *, active: bool
    ) -> Finding:
        onset_ns = self._shown[0].start_ns if active and self._shown else tens.time_ns
        tags = ("filter.dp.calc", "filter.inlet.pressure.pv", WIPER, TORQUE, WEIGHT, DIE)
        return self.finding(
            self.SUBJECT, active, tens.time_ns, sentence, onset_ns=onset_ns, tags=tags, figures=figures
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "causes": self._causes.save(),
            "shown": [c.to_json() for c in self._shown],
            "gone": self._gone,
            "standing": self._standing,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._causes.restore(state["causes"])
        self._shown = [Cleaning.from_json(c) for c in state["shown"]]
        self._gone, self._standing = state["gone"], state["standing"]
