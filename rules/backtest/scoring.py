"""Sets what the rules said of a trial beside what really went wrong in it.

How it counts. A finding is credited to a fault when its rule counts for that fault (``matching``), when it
is about a place where the fault shows, and when it was first said while the fault acted or until it was due.
One that was said before the fault began is none of it, even where it stands on into it: it is another's, or
false. One between the begin and the first visible moment is in time, and its lead is negative.
What counts for no fault is false: also a right finding at a wrong place. What was suppressed under a root
that is credited was never announced and is not false; nor is what sees a known consequence of a fault.

Nothing here depends on the order in which faults or findings are listed. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from historian.frame import NS
from rules.backtest.matching import BY_FAULT, Counting
from rules.backtest.said import Record, Said, Span, common, joined, length_s
from rules.backtest.truth import Truth
from rules.finding import Priority

SLACK_NS = 10 * NS
"""How much before the onset a finding said after it may be timed: clocks of sources are off by seconds."""
AFTER_NS = 600 * NS
"""How long a line still shows a fault that is over: until then no running is healthy.

Derived here: a plate needs about ten minutes back to its set-point, a cleaning cycle four.
"""
SAME_NS = 60 * NS
"""Findings within a minute of each other are simultaneous (``rules.grouping.BEFORE_NS``)."""


class Outcome(StrEnum):
    """What became of one thing that was wrong."""

    FOUND = "found"  # in time
    LATE = "late"  # found, but later than it was due
    MISSED = "missed"
    NOT_DUE = "not due"  # not found, and nobody could have: unseen, over, or the record ended before


@dataclass(frozen=True, slots=True)
class Found:
    """What became of one fault.

    Attributes:
        truth: the fault.
        outcome: see ``Outcome``.
        by: the finding that was first; None when there was none.
        lead_s: from the first visible moment to that finding, negative where it came before; None where
            either is not there.
        from_onset_s: from the onset.
        first: whether no other announced finding of that minute stood before it; None when not found.
        blind_s: how long before it was due none of its rules could judge: never good, and counted as missed.
        judged: whether the line has a rule that counts for it at all.
    """

    truth: Truth
    outcome: Outcome
    by: Said | None = None
    lead_s: float | None = None
    from_onset_s: float | None = None
    first: bool | None = None
    blind_s: float = 0.0
    judged: bool = True


@dataclass(frozen=True, slots=True)
class FalseFinding:
    """A finding that matches nothing that was wrong.

    Attributes:
        said: the finding.
        healthy: whether nothing else was wrong when it was said.
        quiet: ids of the stretches that it should have left alone (medium or high only).
        not_for: ids of the faults that its rule had to leave alone.
    """

    said: Said
    healthy: bool
    quiet: tuple[str, ...] = ()
    not_for: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Score:
    """A trial's score.

    Attributes:
        found: one for each fault, by onset.
        false: in order of time.
        consequences: findings that were neither found nor false.
        late_samples: findings in samples that came late: entries of the journal, never alarms.
        quiet: ids of all stretches that had to stay quiet.
        healthy_s, recorded_s: time in which nothing was wrong, and all of it, seconds.
        blind_s: rule → how long it could not judge.
        stopped: rules that failed, with the reason.
    """

    found: tuple[Found, ...]
    false: tuple[FalseFinding, ...]
    consequences: tuple[Said, ...]
    late_samples: int
    quiet: tuple[str, ...]
    healthy_s: float
    recorded_s: float
    blind_s: Mapping[str, float]
    stopped: tuple[tuple[str, str], ...] = ()

    @property
    def disturbed(self) -> tuple[str, ...]:
        """Ids of the quiet stretches that were disturbed."""
        broken = {one for f in self.false for one in f.quiet}
        return tuple(q for q in self.quiet if q in broken)


def score(record: Record, truths: Iterable[Truth], matching: Mapping[str, Counting] = BY_FAULT) -> Score:
    """The score of a trial.

    Args:
        matching: which rules count for which fault.
    """
    listed = sorted(truths, key=lambda t: (t.onset_ns, t.id))
    faults = [t for t in listed if not t.quiet]
    quiet = [t for t in listed if t.quiet]
    alarms = [s for s in record.said if not s.late and s.priority > Priority.JOURNAL]
    # A fault may be worth an entry of the journal only: that counts as found, but is never false.
    told = [s for s in record.said if not s.late]
    credited = {t.id: [s for s in told if _credits(s, t, matching[t.number], record)] for t in faults}
    owned = {id(s) for own in credited.values() for s in own}
    names = {t.id: {s.name for s in own} for t, own in zip(faults, credited.values(), strict=True)}
    rooted = {n for own in names.values() for n in own}
    free = [s for s in alarms if id(s) not in owned]
    beside = [s for s in free if s.root is not None and _is_excused(s, rooted)]
    beside += [s for s in free if s.root is None and _sees_a_consequence(s, faults, matching)]
    excused = {id(s) for s in beside}
    false = [_false(s, faults, quiet, matching) for s in free if id(s) not in excused]
    announced = [s for s in alarms if s.root is None]
    found = [_found(t, credited, announced, record, matching[t.number]) for t in faults]
    spans = [(t.onset_ns, (record.end_ns if t.end_ns is None else t.end_ns) + AFTER_NS) for t in faults]
    recorded_s = max(0, record.end_ns - record.start_ns) / NS
    return Score(
        tuple(found),
        tuple(false),
        tuple(sorted(beside, key=lambda s: (s.found_ns, s.rule, s.subject))),
        sum(s.late for s in record.said),
        tuple(t.id for t in quiet),
        recorded_s - length_s(joined(spans, record.start_ns, record.end_ns)),
        recorded_s,
        _blind_by_rule(record),
        record.stopped,
    )


def is_about(said: Said, truth: Truth) -> bool:
    """Whether a finding is about a place where the fault shows."""
    if not truth.placed:
        return True
    if truth.source:
        own = said.subject.startswith("source.") and truth.source in said.subject
        return own or bool(set(said.tags) & set(truth.tags))
    if set(said.tags) & set(truth.tags):
        return True
    inside = said.subject + "."
    return any(tag.startswith(inside) or said.subject == tag for tag in truth.tags)


def _until_ns(truth: Truth, record: Record) -> int:
    """Until when a finding is still one of this fault."""
    end_ns = record.end_ns if truth.end_ns is None else truth.end_ns
    return max(end_ns, truth.due_ns or end_ns)


def _credits(said: Said, truth: Truth, counting: Counting, record: Record) -> bool:
    in_time = _began_before(truth, said) and said.found_ns <= _until_ns(truth, record)
    return in_time and said.rule in counting.rules and is_about(said, truth)


def _is_excused(said: Said, rooted: set[tuple[str, str]]) -> bool:
    """A consequence is as true as its root."""
    return said.root in rooted


def _sees_a_consequence(said: Said, faults: Sequence[Truth], matching: Mapping[str, Counting]) -> bool:
    acting = [t for t in faults if _acts(t, said)]
    if any(said.rule in t.not_for for t in acting):
        return False
    return any(said.rule in matching[t.number].besides for t in acting)


def _began_before(truth: Truth, said: Said) -> bool:
    """Whether the fault had begun when it was said; a source's slow clock does not make it earlier."""
    return truth.onset_ns - SLACK_NS <= said.found_ns and truth.onset_ns <= said.told_ns


def _acts(truth: Truth, said: Said) -> bool:
    """Whether the fault acted then, or had only just ceased to."""
    over = truth.end_ns is not None and said.found_ns > truth.end_ns + AFTER_NS
    return _began_before(truth, said) and not over


def _false(
    said: Said, faults: Sequence[Truth], quiet: Sequence[Truth], matching: Mapping[str, Counting]
) -> FalseFinding:
    grave = said.priority >= Priority.MEDIUM
    inside = [q for q in quiet if q.onset_ns <= said.found_ns <= (q.end_ns or said.found_ns)]
    acting = [t for t in faults if _acts(t, said)]
    named = tuple(t.id for t in acting if said.rule in t.not_for)
    return FalseFinding(said, not acting, tuple(q.id for q in inside) if grave else (), named)


def _found(
    truth: Truth,
    credited: Mapping[str, Sequence[Said]],
    announced: Sequence[Said],
    record: Record,
    counting: Counting,
) -> Found:
    own = credited[truth.id]
    judged = bool(counting.rules & record.rules)
    due_ns = truth.due_ns
    blind_s = 0.0
    if truth.visible_ns is not None:
        to_ns = min(record.end_ns, due_ns if due_ns is not None else record.end_ns)
        blind_s = _all_blind_s(counting, record, truth.visible_ns, to_ns)
    if not own:
        over_ns = record.end_ns if truth.end_ns is None else min(truth.end_ns, record.end_ns)
        could = due_ns is not None and due_ns <= over_ns
        outcome = Outcome.MISSED if could else Outcome.NOT_DUE
        return Found(truth, outcome, blind_s=blind_s, judged=judged)
    by = min(own, key=lambda s: (s.found_ns, -s.priority, s.rule, s.subject))
    late = due_ns is not None and by.found_ns > due_ns
    lead_s = None if truth.visible_ns is None else (by.found_ns - truth.visible_ns) / NS
    elsewhere = {id(s) for other, those in credited.items() if other != truth.id for s in those}
    others = [s for s in announced if id(s) not in elsewhere]
    return Found(
        truth,
        Outcome.LATE if late else Outcome.FOUND,
        by,
        lead_s,
        (by.found_ns - truth.onset_ns) / NS,
        _is_first(by, own, others),
        blind_s,
        judged,
    )


def _is_first(by: Said, own: Sequence[Said], announced: Sequence[Said]) -> bool:
    """Whether a person who looks at the list of that minute sees a right finding on top of it.

    Graver ones stand above, of the same priority the earlier one. Findings of other faults do not count.
    """
    if by.root is not None:
        return False
    minute = [s for s in announced if abs(s.found_ns - by.found_ns) <= SAME_NS]
    top = min(minute, key=lambda s: (-s.priority, s.found_ns, s.rule, s.subject), default=by)
    return any(top == s for s in own)


def _all_blind_s(counting: Counting, record: Record, from_ns: int, to_ns: int) -> float:
    """How long none of the rules could judge; a spell of one subject does not make the rule blind."""
    rules = sorted(counting.rules & record.rules)
    both = [(from_ns, to_ns)] if rules else []
    for rule in rules:
        own = [(b.from_ns, b.to_ns) for b in record.blind if b.rule == rule and not b.subject]
        both = common(both, joined(own, from_ns, to_ns))
    return length_s(both)


def _blind_by_rule(record: Record) -> dict[str, float]:
    """Rule → seconds in which it, or one of its subjects, could not judge."""
    spells: dict[str, list[Span]] = {}
    for one in record.blind:
        spells.setdefault(one.rule, []).append((one.from_ns, one.to_ns))
    return {r: length_s(joined(s, record.start_ns, record.end_ns)) for r, s in sorted(spells.items())}
