"""What the rules said of a trial, from the journal's entries: findings with begin and end, blind spells."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from historian.frame import NS
from rules.entry import Entry, EntryKind
from rules.finding import Blind, Finding, Priority
from rules.grouping import Name


@dataclass(frozen=True, slots=True)
class Said:
    """One spell of one rule's condition.

    Attributes:
        rule, subject: which.
        found_ns: when it was first said, UTC nanoseconds: the source time that decided, or the end of the
            second of arrival in which it did, whichever is earlier (a source's clock may be ahead).
        over_ns: when its end was said; None: it stood at the end of the record.
        priority: the gravest that it had.
        tags: the signals of its evidence.
        root: the alarm under which it was suppressed from the beginning; None: it was announced.
        late: found in samples that came after newer ones had been judged; never an alarm.
        heard_ns: the end of the second of arrival in which it was said; None where only ``found_ns``
            is known.
    """

    rule: str
    subject: str
    found_ns: int
    over_ns: int | None
    priority: Priority
    tags: tuple[str, ...] = ()
    root: Name | None = None
    late: bool = False
    heard_ns: int | None = None

    @property
    def name(self) -> Name:
        """Rule and subject."""
        return self.rule, self.subject

    @property
    def told_ns(self) -> int:
        """When it was said, by the clock of the arrivals where that is known."""
        return self.found_ns if self.heard_ns is None else self.heard_ns


@dataclass(frozen=True, slots=True)
class Record:
    """What came of judging a trial.

    Attributes:
        said: in order of time.
        blind: spells in which a rule could not judge.
        stopped: rules that failed, with the reason.
        rules: names of the rules that judged.
        start_ns, end_ns: of the recorded time, UTC nanoseconds.
    """

    said: tuple[Said, ...]
    blind: tuple[Blind, ...]
    stopped: tuple[tuple[str, str], ...]
    rules: frozenset[str]
    start_ns: int
    end_ns: int


def record_of(entries: Iterable[Entry], rules: Iterable[str], start_ns: int, end_ns: int) -> Record:
    """The record of a trial from the entries that judging it gave, in their order."""
    said: list[Said] = []
    standing: dict[Name, int] = {}
    blind: list[Blind] = []
    stopped: list[tuple[str, str]] = []
    for entry in entries:
        if entry.kind is EntryKind.FINDING:
            _take(Finding.from_json(dict(entry.data)), entry.second, said, standing)
        elif entry.kind is EntryKind.TRANSITION:
            _take_root(entry, said, standing)
        elif entry.kind is EntryKind.EVENT and entry.data.get("kind") == "rule-blind":
            blind.append(Blind(**entry.data["data"]))
        elif entry.kind is EntryKind.EVENT and entry.data.get("kind") == "rule-stopped":
            stopped.append((entry.rule, str(entry.data["data"].get("reason", ""))))
    in_time = tuple(sorted(said, key=_order))
    return Record(in_time, tuple(blind), tuple(stopped), frozenset(rules), start_ns, end_ns)


def _order(one: Said) -> tuple[int, int, str, str]:
    return one.found_ns, -one.priority, one.rule, one.subject


def _take(finding: Finding, second: int | None, said: list[Said], standing: dict[Name, int]) -> None:
    name = finding.rule, finding.subject
    heard_ns = None if second is None else (second + 1) * NS
    found_ns = finding.time_ns if heard_ns is None else min(finding.time_ns, heard_ns)
    if not finding.active:
        if not finding.late and name in standing:
            at = standing.pop(name)
            said[at] = replace(said[at], over_ns=max(found_ns, said[at].found_ns))
        return
    if not finding.late and name in standing:
        at = standing[name]
        said[at] = _with_newer_words(said[at], finding)
        return
    over_ns = found_ns if finding.momentary or finding.late else None
    said.append(
        Said(
            finding.rule,
            finding.subject,
            found_ns,
            over_ns,
            finding.priority,
            finding.evidence.tags,
            late=finding.late,
            heard_ns=heard_ns,
        )
    )
    if over_ns is None:
        standing[name] = len(said) - 1


def _with_newer_words(before: Said, finding: Finding) -> Said:
    tags = tuple(dict.fromkeys([*before.tags, *finding.evidence.tags]))
    return replace(before, priority=max(before.priority, finding.priority), tags=tags)


def _take_root(entry: Entry, said: list[Said], standing: dict[Name, int]) -> None:
    """An alarm that goes under a root in the second in which it begins was never announced."""
    root = entry.data.get("root")
    at = standing.get((entry.rule, entry.subject))
    if root and at is not None and entry.second is not None:
        began = said[at]
        if began.root is None and entry.time_ns - began.found_ns <= _SAME_NS:
            said[at] = replace(began, root=(str(root[0]), str(root[1])))


_SAME_NS = 60 * NS
"""Alarms of one cause are judged within a window of a minute of each other (``rules.grouping.BEFORE_NS``)."""


Span = tuple[int, int]
"""From when to when, UTC nanoseconds."""


def joined(spans: Iterable[Span], from_ns: int, to_ns: int) -> list[Span]:
    """The parts of a window that at least one of the spans covers, in order, none touching another."""
    found: list[Span] = []
    for a, b in sorted((max(a, from_ns), min(b, to_ns)) for a, b in spans):
        if b <= a:
            continue
        if found and a <= found[-1][1]:
            found[-1] = found[-1][0], max(b, found[-1][1])
        else:
            found.append((a, b))
    return found


def common(first: Iterable[Span], second: Iterable[Span]) -> list[Span]:
    """What two lists of ``joined`` spans have in common."""
    others = list(second)
    return [(max(a, c), min(b, d)) for a, b in first for c, d in others if max(a, c) < min(b, d)]


def length_s(spans: Iterable[Span]) -> float:
    """How long spans are together, seconds."""
    return sum(b - a for a, b in spans) / NS
