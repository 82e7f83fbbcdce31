"""Journal entries for the tests of the review: what a life cycle and a machine would have told."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from historian.frame import NS
from rules.entry import Act, ActKind, Entry, EntryKind
from rules.finding import Finding, Priority
from rules.lifecycle import LifeCycle, Refusal, Transition
from rules.review import Spell, Window
from tests.rules.toys import finding

MIDNIGHT = 1_767_225_600 * NS
"""2026-01-01T00:00:00Z."""
MONTH = Window(MIDNIGHT, MIDNIGHT + 31 * 86_400 * NS)


def at(seconds: float) -> int:
    """So many seconds after that midnight, UTC nanoseconds."""
    return MIDNIGHT + round(seconds * NS)


def spells(*pairs: tuple[float, float | None]) -> list[Spell]:
    """Spells from seconds after midnight."""
    return [Spell(at(a), None if b is None else at(b)) for a, b in pairs]


class Told:
    """Drives a real life cycle and keeps the entries that the engine would write of it."""

    def __init__(self) -> None:
        self.cycle = LifeCycle()
        self.entries: list[Entry] = []
        self._acts = 0

    def found(
        self, second: float, active: bool, *, rule: str = "over", subject: str = "filter.inlet",
        priority: Priority = Priority.MEDIUM, root: tuple[str, str] | None = None,
    ) -> None:  # fmt: skip
        """The rule says that the condition began or ended."""
        one: Finding = finding(active, rule=rule, subject=subject, time_ns=at(second), priority=priority)
        self._keep(self.cycle.finding(one, at(second), root))

    def spell(self, start: float, end: float | None, **more: Any) -> None:
        """The condition held from one second to the other."""
        self.found(start, True, **more)
        if end is not None:
            self.found(end, False, **more)

    def act(self, second: float, what: ActKind, *, until: float | None = None, **more: Any) -> None:
        """An engineer does something to the alarm."""
        self._acts += 1
        name = {"rule": "over", "subject": "filter.inlet", **more}
        act = Act(self._acts, at(second), "ada", "engineer", what, reason="because", **name)
        self._keep(self.cycle.act(replace(act, until_ns=None if until is None else at(until)), at(second)))

    def passed(self, second: float) -> None:
        """Time passes: shelves end."""
        self._keep(self.cycle.advance(at(second)))

    def _keep(self, moves: Iterable[Transition | Refusal]) -> None:
        for move in moves:
            assert isinstance(move, Transition), move
            key = f"{move.time_ns // NS}/transition/{move.rule}/{move.subject}/{len(self.entries)}"
            name = (move.rule, move.subject, move.by)
            self.entries.append(Entry(key, move.time_ns, EntryKind.TRANSITION, *name, move.to_json()))
