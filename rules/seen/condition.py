"""A rule about one thing: whether a single condition holds, judged every ten seconds."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Mapping
from math import nan
from typing import Any, ClassVar

from rules.finding import Blind, Finding, Priority
from rules.line import LineFacts
from rules.seen.episode import Episode
from rules.seen.line import SETTLE_S, START_S
from rules.seen.rule import Figures, TensRule
from rules.seen.stage import Stage, Tens
from rules.seen.wiping import Wiping
from rules.table import RULES

_GONE_S = 60.0

Words = tuple[str, Figures]


class ConditionRule(TensRule):
    """Says once when its condition begins, and once when it ends or the line stands.

    A subclass names its subject and its signals, says why it cannot judge, whether the condition holds, and
    with which words it begins and ends. The delays are those that the table names.
    """

    SUBJECT: ClassVar[str]
    TAGS: ClassVar[tuple[str, ...]]
    STOPPED = "The line stands. Whether the cause is gone is not known."

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        about = RULES[self.RULE]
        on_s = self.values[about.on_delay] if about.on_delay else 0.0
        off_s = self.values[about.off_delay] if about.off_delay else 0.0
        self.episode = Episode(on_s, off_s)
        self.wiping = Wiping()
        self._wiper = stage.column.get("filter.wiper.state", -1)

    @abstractmethod
    def why_not(self, tens: Tens) -> str | None:
        """Why these ten seconds cannot be judged; None: they can. Called once for each ten seconds."""

    @abstractmethod
    def holds(self, tens: Tens) -> bool | None:
        """Whether the condition holds; None: what it needs is not known."""

    @abstractmethod
    def begun(self, tens: Tens) -> Words:
        """What is seen, in a sentence, and the figures that convinced."""

    @abstractmethod
    def over(self, tens: Tens) -> str:
        """A sentence for its end."""

    def onset_ns(self, tens: Tens) -> int:
        """Since when it has been seen, when it begins; asked before ``begun``."""
        return self.episode.onset_ns

    def learn(self, tens: Tens) -> None:
        """Take up what is usual; called when it neither holds nor stands, also when it was not judged."""

    def own(self, tens: Tens) -> Priority | None:
        """The priority, where it depends on what was seen."""
        return None

    def stopped(self, tens: Tens) -> bool:
        """Whether a standing finding ends because the line has stopped."""
        return tens.line.standing_s >= _GONE_S

    def unsettled(
        self, tens: Tens, start_s: float = START_S, settle_s: float = SETTLE_S, wipe_s: float | None = None
    ) -> str | None:
        """As that of the line's state; but a wiper that never stops cleans all the time and masks nothing."""
        why = tens.line.unsettled(start_s=start_s, settle_s=settle_s)
        if why is None and wipe_s is not None and self.wiping.wiped_s < wipe_s:
            return "cleaning"
        return why

    def value(self, tens: Tens, path: str) -> float:
        """A signal's mean over the ten seconds; NaN when not known."""
        column = self.stage.column.get(path, -1)
        return float(tens.mean[column]) if column >= 0 else nan

    def last(self, tens: Tens, path: str) -> float:
        """A signal at their end; NaN when not known."""
        column = self.stage.column.get(path, -1)
        return float(tens.last[column]) if column >= 0 else nan

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say."""
        moves = self._wiper >= 0 and bool((tens.rows[:, self._wiper] > 0).any())
        self.wiping.push(tens.time_ns, moves=moves)
        why = self.why_not(tens)
        holds = None if why is not None else self.holds(tens)
        if why is None and holds is None:
            why = "a signal that it needs is not known, or what is usual is not yet learnt"
        yield from self.blind.note(tens.time_ns, why)
        if self.episode.standing and self.stopped(tens):
            self.episode.restore([False, 0, None])
            yield self._said(tens, (self.STOPPED, {}), active=False, onset_ns=tens.time_ns)
            return
        change = self.episode.judge(tens.time_ns, holds)
        if change > 0:
            onset_ns = self.onset_ns(tens)
            yield self._said(tens, self.begun(tens), active=True, onset_ns=onset_ns, own=self.own(tens))
        elif change < 0:
            yield self._said(tens, (self.over(tens), {}), active=False, onset_ns=self.episode.onset_ns)
        if not holds and not self.episode.standing:
            self.learn(tens)

    def _said(
        self, tens: Tens, words: Words, *, active: bool, onset_ns: int, own: Priority | None = None
    ) -> Finding:
        sentence, figures = words
        return self.finding(
            self.SUBJECT,
            active,
            tens.time_ns,
            sentence,
            onset_ns=onset_ns,
            tags=self.TAGS,
            figures=figures,
            own=own,
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "episode": self.episode.save(), "wiping": self.wiping.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self.episode.restore(state["episode"])
        self.wiping.restore(state["wiping"])
