"""Which alarms are consequences of which: the first-out of a group, and what stands under it.

How it works. The rules' table says which rule may be the root of which (``Rule.roots``), and which rules say
that a signal itself cannot be believed (``Rule.signal_fault``): those are roots of every alarm whose evidence
names that signal. Of the roots that an alarm has at a time, the one that began first is taken; the roots of
a root count as well, so that a root is never a consequence itself. What counts is what stands at the end of
a second, so the order of findings within it does not matter.

Three limits, derived here:

1. An alarm that began well before its root is no consequence of it.
2. A consequence graver than its root is announced all the same, as a shelf for a milder condition hides no
   graver one.
3. When a root is over, its consequences have three minutes to end by themselves before they are announced.

Pure: all times are arguments.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Set
from dataclasses import dataclass, replace
from typing import Any

from historian.frame import NS
from historian.tags import Tag
from rules.finding import Finding, Priority
from rules.table.rule import SAME_MACHINE, SAME_PART, Rule

Name = tuple[str, str]
"""Rule and subject of an alarm."""

BEFORE_NS = 60 * NS
"""How much earlier than its root an alarm may seem to have begun: the rules look at windows of their own."""
LINGER_NS = 180 * NS
"""How long the consequences of a root that is over may go on without being announced.

Derived here: a rule sees up to two minutes of signals again before it says that its condition is gone.
"""

_SOURCE = "source."


@dataclass(frozen=True, slots=True)
class Standing:
    """A condition that holds, or held until a moment ago.

    Attributes:
        onset_ns: when it is thought to have begun; it stays when newer words come.
        priority: the newest.
        tags: the signals that it is about, or that show it.
        over_ns: when its end was found, the edge's time; None while it holds.
    """

    onset_ns: int
    priority: Priority
    tags: frozenset[str]
    over_ns: int | None = None


class Grouping:
    """Follows the findings of a line and says which alarm is under which root.

    Args:
        about: the rules' table.
        tags: every tag of the line by path; a silent source is about all of its own.
    """

    def __init__(self, about: Mapping[str, Rule], tags: Mapping[str, Tag]) -> None:
        self._about = about
        self._of_source: dict[str, set[str]] = {}
        for path, tag in tags.items():
            self._of_source.setdefault(_SOURCE + tag.source, set()).add(path)
        self._standing: dict[Name, Standing] = {}
        self._roots: dict[Name, Name] | None = None  # as last asked for; None: something has changed since
        self._not_heard: frozenset[Name] = frozenset()

    def take(self, finding: Finding, at_ns: int) -> None:
        """Take the next finding; those that make no standing alarm change nothing.

        Args:
            at_ns: the edge's time.
        """
        if finding.late or finding.momentary or (finding.active and finding.priority is Priority.JOURNAL):
            return
        self._roots = None
        name = finding.rule, finding.subject
        before = self._standing.get(name)
        if not finding.active:
            if before is not None and before.over_ns is None:
                self._standing[name] = replace(before, over_ns=at_ns)
            return
        # A root that flickers keeps its group: it began when it began first.
        onset_ns = finding.onset_ns if before is None else min(before.onset_ns, finding.onset_ns)
        tags = self._of_source.get(finding.subject, ()) if self._doubts(finding.rule) else ()
        seen = frozenset(tags or finding.evidence.tags)
        self._standing[name] = Standing(onset_ns, finding.priority, seen)

    def roots(self, now_ns: int, not_heard: Set[Name] = frozenset()) -> Mapping[Name, Name]:
        """Consequence → its root, for every consequence whose condition holds.

        Args:
            now_ns: the edge's time; it never falls.
            not_heard: alarms that are out of service: they are roots of nothing.
        """
        over = [n for n, s in self._standing.items() if s.over_ns is not None]
        for name in over:
            if now_ns - (self._standing[name].over_ns or 0) >= LINGER_NS:
                del self._standing[name]
                self._roots = None
        if self._roots is None or self._not_heard != not_heard:
            self._not_heard = frozenset(not_heard)
            self._roots = self._found() if len(self._standing) > 1 else {}
        return self._roots

    def _found(self) -> dict[Name, Name]:
        above = self._ancestors(self._not_heard)
        tops = {n for n in self._standing if self._is_top(n, above)}
        found: dict[Name, Name] = {}
        for name in sorted(self._standing):
            if name not in tops and self._standing[name].over_ns is None:
                found[name] = min((a for a in above[name] if a in tops), key=self._first_out)
        return found

    def rule_stopped(self, rule: str, at_ns: int) -> None:
        """A rule judges no more: it can never say that its conditions are over, so nothing is hidden."""
        self._roots = None
        for name, standing in self._standing.items():
            if name[0] == rule and standing.over_ns is None:
                self._standing[name] = replace(standing, over_ns=at_ns)

    def keep_only(self, rules: Collection[str], at_ns: int) -> None:
        """As ``rule_stopped``, for every rule that is not among these."""
        for rule in {name[0] for name in self._standing} - set(rules):
            self.rule_stopped(rule, at_ns)

    def begin_anew(self) -> None:
        """Nothing stands any more: the rules have lost what they knew."""
        self._standing, self._roots = {}, None

    def save(self) -> list[Any]:
        """What stands, as JSON types."""
        return [
            [*name, s.onset_ns, int(s.priority), sorted(s.tags), s.over_ns]
            for name, s in sorted(self._standing.items())
        ]

    def restore(self, state: Collection[Any]) -> None:
        """Take up what ``save`` gave."""
        self._roots = None
        self._standing = {
            (rule, subject): Standing(onset_ns, Priority(priority), frozenset(tags), over_ns)
            for rule, subject, onset_ns, priority, tags, over_ns in state
        }

    def _doubts(self, rule: str) -> bool:
        about = self._about.get(rule)
        return about is not None and about.signal_fault

    def _first_out(self, name: Name) -> tuple[int, Name]:
        return self._standing[name].onset_ns, name

    def _is_top(self, name: Name, above: Mapping[Name, set[Name]]) -> bool:
        """Whether nothing is its root; of alarms that are roots of one another, the first one is."""
        others = above[name] - {name}
        return all(name in above[a] and self._first_out(name) < self._first_out(a) for a in others)

    def _ancestors(self, not_heard: Collection[Name]) -> dict[Name, set[Name]]:
        """Every alarm with its roots, their roots, and so on."""
        by_rule: dict[str, list[Name]] = {}
        for name in self._standing:
            if name not in not_heard:
                by_rule.setdefault(name[0], []).append(name)
        doubters = [n for rule, names in by_rule.items() if self._doubts(rule) for n in names]
        direct = {n: set(self._direct(n, by_rule, doubters)) for n in self._standing}
        above: dict[Name, set[Name]] = {}
        for name, roots in direct.items():
            found, waiting = set[Name](), list(roots)
            while waiting:
                one = waiting.pop()
                if one not in found:
                    found.add(one)
                    waiting.extend(direct[one])
            above[name] = found
        return above

    def _direct(self, name: Name, by_rule: Mapping[str, list[Name]], doubters: list[Name]) -> Iterator[Name]:
        about, child = self._about.get(name[0]), self._standing[name]
        for rule in () if about is None else about.roots:
            yield from (r for r in by_rule.get(rule, ()) if self._reaches(r, name) and self._may(r, name))
        for doubter in doubters:
            tags = self._standing[doubter].tags
            # A source is never silent because one of its sensors is; of equals, the first-out is the root.
            shared = tags >= child.tags if self._doubts(name[0]) else tags & child.tags
            if child.tags and shared and self._may(doubter, name):
                yield doubter

    def _may(self, root: Name, name: Name) -> bool:
        """Whether time and priority let an alarm stand under a root."""
        above, below = self._standing[root], self._standing[name]
        return (
            root != name and below.onset_ns >= above.onset_ns - BEFORE_NS and below.priority <= above.priority
        )

    def _reaches(self, root: Name, name: Name) -> bool:
        reach, part, of = self._about[root[0]].reach, name[1], root[1]
        if reach == SAME_MACHINE:
            return part.split(".")[0] == of.split(".")[0]
        return reach != SAME_PART or part == of or part.startswith(of + ".")
