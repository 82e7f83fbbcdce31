"""What the rules found, from begin to end: findings of the journal put together, each with its root."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from rules.entry import Entry, EntryKind
from rules.finding import Priority

Name = tuple[str, str]
Key = tuple[str, str, bool]
"""Rule, subject, and whether it was found late."""


@dataclass(frozen=True, slots=True)
class Episode:
    """One time that a condition held.

    Attributes:
        rule, subject: see ``rules.finding.Finding``.
        priority: the gravest that it had.
        onset_ns: when it is thought to have begun, UTC nanoseconds.
        end_ns: when it ended; None while it stands.
        sentence, advice: the newest words while it held.
        evidence: of the newest finding while it held, as JSON types.
        root: the alarm of which it was a consequence; None when it was none.
        late: found in samples that came after newer ones had been judged.
    """

    rule: str
    subject: str
    priority: Priority
    onset_ns: int
    end_ns: int | None
    sentence: str
    advice: str
    evidence: Mapping[str, Any]
    root: Name | None = None
    late: bool = False

    def stands_at(self, time_ns: int) -> bool:
        """Whether it had begun and not ended by then."""
        return self.onset_ns < time_ns and (self.end_ns is None or self.end_ns >= time_ns)

    def meets(self, start_ns: int, end_ns: int) -> bool:
        """Whether any of it lies in start ≤ time < end."""
        return self.onset_ns < end_ns and (self.end_ns is None or self.end_ns >= start_ns)


def episodes_of(entries: Sequence[Entry]) -> list[Episode]:
    """The episodes that a journal tells of, by onset.

    Args:
        entries: findings and transitions in the order of their times; other kinds are passed over.
    """
    open_ones: dict[Key, Episode] = {}
    done: list[Episode] = []
    for entry in entries:
        if entry.kind is EntryKind.FINDING:
            _take(entry, open_ones, done)
        elif entry.kind is EntryKind.TRANSITION and not entry.data.get("condition"):
            # No finding ends what the rules forgot when a clock was set back: its alarm does.
            _end(entry, (entry.rule, entry.subject, False), open_ones, done)
    found = [*done, *open_ones.values()]
    rooted = _with_roots(found, entries)
    return sorted(rooted, key=lambda e: (e.onset_ns, e.rule, e.subject))


def _take(entry: Entry, open_ones: dict[Key, Episode], done: list[Episode]) -> None:
    data = entry.data
    key = (entry.rule, entry.subject, bool(data.get("late")))
    if data.get("momentary"):
        if data["active"]:
            done.append(replace(_begun(entry), end_ns=entry.time_ns))
        return
    if not data["active"]:
        _end(entry, key, open_ones, done)
        return
    before, now = open_ones.get(key), _begun(entry)
    if before is not None:
        graver = max(before.priority, now.priority)
        now = replace(now, onset_ns=before.onset_ns, priority=graver)
    open_ones[key] = now


def _end(entry: Entry, key: Key, open_ones: dict[Key, Episode], done: list[Episode]) -> None:
    before = open_ones.pop(key, None)
    if before is not None:
        done.append(replace(before, end_ns=max(before.onset_ns, entry.time_ns)))


def _begun(entry: Entry) -> Episode:
    data = entry.data
    return Episode(
        entry.rule,
        entry.subject,
        Priority(data["priority"]),
        min(int(data["onset_ns"]), entry.time_ns),
        None,
        str(data["sentence"]),
        str(data["advice"]),
        data.get("evidence") or {},
        late=bool(data.get("late")),
    )


def _with_roots(found: Iterable[Episode], entries: Iterable[Entry]) -> list[Episode]:
    """The episodes, each with the root that its alarm had while it held and at the last word of it."""
    told: dict[Name, list[tuple[int, Name | None]]] = {}
    for entry in entries:
        if entry.kind is EntryKind.TRANSITION and entry.data.get("condition"):
            root = entry.data.get("root")
            name = (entry.rule, entry.subject)
            told.setdefault(name, []).append((entry.time_ns, (root[0], root[1]) if root else None))
    rooted = []
    for one in found:
        words = told.get((one.rule, one.subject), [])
        until = len(words) if one.end_ns is None else bisect_right(words, one.end_ns + _LAG_NS, key=_time)
        last = words[until - 1] if until else None
        known = last is not None and last[0] >= one.onset_ns and not one.late
        rooted.append(replace(one, root=last[1]) if known and last is not None else one)
    return rooted


def _time(word: tuple[int, Name | None]) -> int:
    return word[0]


_LAG_NS = 60_000_000_000
"""Findings bear source time, transitions the edge's: the one may be behind the other by so much."""
