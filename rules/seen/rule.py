"""What most rules are: something that is judged every ten seconds, each subject for itself."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping, Sequence
from math import isnan
from typing import Any, ClassVar

from rules.block import Block
from rules.finding import Blind, Evidence, Finding, Priority
from rules.line import LineFacts
from rules.seen.blindness import Blindness
from rules.seen.stage import Stage, Tens
from rules.table.settings import values_of

Figures = Mapping[str, tuple[float, str]]


class TensRule(ABC):
    """A rule that judges ten seconds after ten seconds.

    A subclass names its rule, sets up its state after ``super().__init__``, and judges; it saves and restores
    what it keeps beside ``blind``, with ``super()``'s.

    Attributes:
        values: the rule's numbers and words on this line.
        stage: where the line's signals are found.
        blind: how long it could not judge.
    """

    RULE: ClassVar[str]

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        self.rule = self.RULE
        self.values = values_of(facts, self.RULE)
        self.stage = stage
        self.blind = Blindness(self.RULE)

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What the tens of seconds that are over with this block say."""
        return [told for tens in self.stage.see(block).tens for told in self.judge(tens)]

    def advance(self, now_ns: int) -> Sequence[Finding | Blind]:
        """Nothing: what is missing is the affair of the rules of sources."""
        return ()

    @abstractmethod
    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say."""

    def finding(
        self,
        subject: str,
        active: bool,
        time_ns: int,
        sentence: str,
        *,
        onset_ns: int | None = None,
        tags: Sequence[str] = (),
        figures: Figures | None = None,
        own: Priority | None = None,
        momentary: bool = False,
    ) -> Finding:
        """A finding in this rule's name and words.

        Args:
            onset_ns: when it is thought to have begun; the evidence is shown from there on.
            tags: those of them that the line has are named in the evidence.
            figures: name → (value, unit), rounded to two decimals; unknown ones are left out.
            own: the detector's own priority, where it depends on what was seen.
        """
        start_ns = time_ns if onset_ns is None else min(onset_ns, time_ns)
        known = {n: (round(float(v), 2), u) for n, (v, u) in (figures or {}).items() if not isnan(v)}
        evidence = Evidence(start_ns, time_ns, tuple(t for t in tags if t in self.stage.column), known)
        priority, advice = self.values.priority(own), self.values.advice
        return Finding(
            self.rule, subject, active, time_ns, start_ns, priority, sentence, advice, evidence, momentary
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {"blind": self.blind.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self.blind.restore(state["blind"])
