"""What the rules could not judge in a period: a spell without sight is never a good one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from historian.frame import NS
from rules.digest.period import Period
from rules.entry import Entry, EntryKind
from rules.finding import Blind

_STARTS: Final = ("trial-opened", "trial-reopened")
"""Events of a start of the line's program: a rule that had failed judges again from then on."""

Stretch = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Unseen:
    """One rule that could not judge for a part of the period.

    Attributes:
        rule: its name.
        s: how long, over all that it is about, seconds.
        why: the reason of most of it.
        subjects: what it could not judge; empty when it is the whole rule.
    """

    rule: str
    s: float
    why: str
    subjects: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sight:
    """How much of a period could be judged.

    Attributes:
        judged: how many rules the line has at work.
        unseen: the rules that could not judge for a while, the longest first.
        not_judged: rule → why the line does not judge it at all.
        unrecorded_s: how long nothing was recorded, so that no rule could judge, seconds.
    """

    judged: int = 0
    unseen: tuple[Unseen, ...] = ()
    not_judged: Mapping[str, str] = field(default_factory=dict)
    unrecorded_s: float = 0.0


def sight_of(
    blinds: Iterable[Blind],
    unrecorded: Iterable[Stretch],
    period: Period,
    *,
    judged: int = 0,
    not_judged: Mapping[str, str] | None = None,
) -> Sight:
    """How much of the period could be judged; spells that lie over one another count once a rule."""
    by_rule: dict[str, list[Blind]] = {}
    for one in blinds:
        if one.from_ns < period.end_ns and one.to_ns > period.start_ns:
            by_rule.setdefault(one.rule, []).append(one)
    unseen = [_unseen(rule, spells, period) for rule, spells in by_rule.items()]
    unseen.sort(key=lambda u: (-u.s, u.rule))
    return Sight(judged, tuple(unseen), not_judged or {}, _joined_s(unrecorded, period))


def blinds_of(entries: Sequence[Entry], until_ns: int) -> list[Blind]:
    """The spells without sight that a journal tells of; a rule that failed is blind until the next start.

    Args:
        entries: events in the order of their times; other kinds are passed over.
        until_ns: how far a rule that failed and was not started again counts as blind.
    """
    found: list[Blind] = []
    failed: dict[str, int] = {}
    for entry in entries:
        if entry.kind is not EntryKind.EVENT:
            continue
        kind = entry.data.get("kind")
        if kind == "rule-blind":
            found.append(_blind(entry.data["data"]))
        elif kind == "rule-stopped":
            failed.setdefault(entry.rule, entry.time_ns)
        elif kind in _STARTS:
            found += [_failed(rule, since_ns, entry.time_ns) for rule, since_ns in failed.items()]
            failed.clear()
    return [*found, *(_failed(rule, since_ns, max(since_ns, until_ns)) for rule, since_ns in failed.items())]


def _blind(data: Mapping[str, Any]) -> Blind:
    return Blind(
        str(data["rule"]), str(data["subject"]), int(data["from_ns"]), int(data["to_ns"]), str(data["why"])
    )


def _failed(rule: str, from_ns: int, to_ns: int) -> Blind:
    return Blind(rule, "", from_ns, to_ns, "the rule failed")


def _unseen(rule: str, spells: Sequence[Blind], period: Period) -> Unseen:
    lengths: Counter[str] = Counter()
    for one in spells:
        lengths[one.why] += min(one.to_ns, period.end_ns) - max(one.from_ns, period.start_ns)
    why = max(lengths, key=lambda w: (lengths[w], w))
    whole = any(not one.subject for one in spells)
    subjects = () if whole else tuple(sorted({one.subject for one in spells}))
    return Unseen(rule, _joined_s(((b.from_ns, b.to_ns) for b in spells), period), why, subjects)


def _joined_s(stretches: Iterable[Stretch], period: Period) -> float:
    """The length of all of them within the period; what two of them share counts once."""
    total, reached = 0, period.start_ns
    for start_ns, end_ns in sorted(stretches):
        begin, end = max(start_ns, reached), min(end_ns, period.end_ns)
        if end > begin:
            total += end - begin
            reached = end
    return total / NS
