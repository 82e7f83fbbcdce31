"""A rule about one thing that is judged every second: where ten would come too late."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from rules.block import Block
from rules.finding import Blind, Finding, Priority
from rules.line import LineFacts
from rules.seen.condition import Words
from rules.seen.episode import Episode
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens
from rules.table import RULES

Floats = NDArray[np.float64]


class SecondsRule(TensRule):
    """Says once when its condition begins, and once when it ends.

    The ten seconds serve to learn and to say what could not be judged; each comes after its own seconds and
    before the next ones, so that it does not matter how samples were cut into blocks.
    """

    SUBJECT: ClassVar[str]
    TAGS: ClassVar[tuple[str, ...]]

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        about = RULES[self.RULE]
        on_s = self.values[about.on_delay] if about.on_delay else 0.0
        off_s = self.values[about.off_delay] if about.off_delay else 0.0
        self.episode = Episode(on_s, off_s)
        self.tags: tuple[str, ...] = self.TAGS
        self._said_with = Priority.JOURNAL  # priority of the standing finding; JOURNAL: none

    @abstractmethod
    def near(self, value: Floats) -> bool:
        """Whether these seconds, shape (m, columns), must be looked at one by one: else nothing can begin."""

    @abstractmethod
    def second(self, time_ns: int, row: Floats) -> bool | None:
        """Whether it holds in this second, shape (columns,); None: what it needs is not known."""

    def passed_over(self, time_ns: NDArray[np.int64], value: Floats) -> None:
        """Take up what ``second`` would have, of seconds that are not looked at one by one."""

    @abstractmethod
    def begun(self, row: Floats) -> Words:
        """What is seen, in a sentence, and the figures that convinced; of one second, shape (columns,)."""

    @abstractmethod
    def over(self, row: Floats) -> str:
        """A sentence for its end."""

    def onset_ns(self) -> int:
        """Since when it has been seen, when it begins."""
        return self.episode.onset_ns

    def own(self) -> Priority:
        """The priority of what stands; when it rises, it is said again."""
        return RULES[self.RULE].priority

    def why_not(self, tens: Tens) -> str | None:
        """Why these ten seconds could not be judged; None: they could."""
        return None

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What could not be judged."""
        yield from self.blind.note(tens.time_ns, self.why_not(tens))

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What each second says."""
        seen = self.stage.see(block)
        found: list[Finding | Blind] = []
        done = 0
        for tens in seen.tens:
            upto = int(np.searchsorted(seen.time_ns, tens.time_ns, side="right"))
            found.extend(self._seconds(seen.time_ns[done:upto], seen.value[done:upto]))
            found.extend(self.judge(tens))
            done = upto
        found.extend(self._seconds(seen.time_ns[done:], seen.value[done:]))
        return found

    def _seconds(self, time_ns: NDArray[np.int64], value: Floats) -> Iterable[Finding]:
        if len(time_ns) == 0:
            return
        if not (self.episode.standing or self.episode.waits or self.near(value)):
            self.passed_over(time_ns, value)
            return
        for n, at_ns in enumerate(time_ns.tolist()):
            change = self.episode.judge(at_ns, self.second(at_ns, value[n]))
            own = self.own() if self.episode.standing else Priority.JOURNAL
            if change > 0 or (change == 0 and own > self._said_with):
                self._said_with = own
                yield self._said(at_ns, value[n], active=True)
            elif change < 0:
                yield self._said(at_ns, value[n], active=False)
                self._said_with = Priority.JOURNAL

    def _said(self, time_ns: int, row: Floats, *, active: bool) -> Finding:
        sentence, figures = self.begun(row) if active else (self.over(row), {})
        return self.finding(
            self.SUBJECT,
            active,
            time_ns,
            sentence,
            onset_ns=self.onset_ns() if active else self.episode.onset_ns,
            tags=self.tags,
            figures=figures,
            own=self._said_with,
        )

    def at(self, row: Floats, path: str) -> float:
        """A signal in one second; NaN when not known."""
        return float(self.stage.at(row[None, :], path)[0])

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "episode": self.episode.save(), "said": int(self._said_with)}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self.episode.restore(state["episode"])
        self._said_with = Priority(state["said"])
