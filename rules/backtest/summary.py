"""Adds the scores of several trials: by fault, by rule, and how often the rules cried for nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from rules.backtest.matching import BY_FAULT, faults_of
from rules.backtest.scoring import Found, Outcome, Score
from rules.finding import Priority

ALARMS = (Priority.HIGH, Priority.MEDIUM, Priority.LOW)


@dataclass(frozen=True, slots=True)
class Line:
    """What became of the faults of one kind, or of all.

    Attributes:
        found, late, missed, not_due: how many of each outcome.
        first: of those found, in time or late, how many stood first.
        blind: of those late or missed, how many none of the rules could judge for a while.
        unjudged: how many of those missed no rule of the line judges at all.
        lead_s, from_onset_s: medians over those found; None where there are none.
        by: rule → how many it was the first to find.
    """

    found: int
    late: int
    missed: int
    not_due: int
    first: int
    blind: int
    unjudged: int
    lead_s: float | None
    from_onset_s: float | None
    by: Mapping[str, int]

    @property
    def due(self) -> int:
        """How many should have been found."""
        return self.found + self.late + self.missed

    @property
    def percent(self) -> float | None:
        """How many per cent of those due were found in time; None where none was due."""
        return 100.0 * self.found / self.due if self.due else None


@dataclass(frozen=True, slots=True)
class RuleLine:
    """What one rule did.

    Attributes:
        faults: numbers of the faults that it counts for.
        found: how many it was the first to find.
        false: how often it cried for nothing, by priority.
        blind_h: how long it could not judge.
    """

    faults: tuple[str, ...]
    found: int
    false: Mapping[Priority, int]
    blind_h: float


@dataclass(frozen=True, slots=True)
class Summary:
    """Several trials together.

    Attributes:
        trials: how many.
        all: every fault.
        by_fault: fault number → its line, in the order of the list.
        by_rule: rule → its line, by name; rules without anything to tell are left out.
        false, false_healthy: how many false findings, by priority; those while nothing else was wrong.
        consequences: findings that were neither found nor false.
        late_samples: findings in samples that came late.
        quiet, disturbed: stretches that had to stay quiet, and those that did not.
        healthy_h, recorded_h: time in which nothing was wrong, and all of it.
        stopped: rules that failed.
    """

    trials: int
    all: Line
    by_fault: Mapping[str, Line]
    by_rule: Mapping[str, RuleLine]
    false: Mapping[Priority, int]
    false_healthy: Mapping[Priority, int]
    consequences: int
    late_samples: int
    quiet: int
    disturbed: int
    healthy_h: float
    recorded_h: float
    stopped: tuple[tuple[str, str], ...]

    def false_per_healthy_h(self, priority: Priority) -> float | None:
        """False findings of a priority an hour of healthy running; None where there was none."""
        return self.false_healthy[priority] / self.healthy_h if self.healthy_h > 0 else None


def summary(scores: Iterable[Score]) -> Summary:
    """The scores together; their order does not matter."""
    all_scores = list(scores)
    found = [f for s in all_scores for f in s.found]
    numbers = sorted({f.truth.number for f in found}, key=list(BY_FAULT).index)
    false = [f for s in all_scores for f in s.false]
    return Summary(
        trials=len(all_scores),
        all=_line(found),
        by_fault={n: _line([f for f in found if f.truth.number == n]) for n in numbers},
        by_rule=_rules(all_scores, found),
        false=_by_priority(f.said.priority for f in false),
        false_healthy=_by_priority(f.said.priority for f in false if f.healthy),
        consequences=sum(len(s.consequences) for s in all_scores),
        late_samples=sum(s.late_samples for s in all_scores),
        quiet=sum(len(s.quiet) for s in all_scores),
        disturbed=sum(len(s.disturbed) for s in all_scores),
        healthy_h=sum(s.healthy_s for s in all_scores) / 3600.0,
        recorded_h=sum(s.recorded_s for s in all_scores) / 3600.0,
        stopped=tuple(sorted({one for s in all_scores for one in s.stopped})),
    )


def _line(found: Sequence[Found]) -> Line:
    outcomes = Counter(f.outcome for f in found)
    seen = [f for f in found if f.by is not None]
    short = [f for f in found if f.outcome in (Outcome.LATE, Outcome.MISSED)]
    by = Counter(f.by.rule for f in seen if f.by is not None)
    return Line(
        found=outcomes[Outcome.FOUND],
        late=outcomes[Outcome.LATE],
        missed=outcomes[Outcome.MISSED],
        not_due=outcomes[Outcome.NOT_DUE],
        first=sum(bool(f.first) for f in seen),
        blind=sum(f.blind_s > 0 for f in short),
        unjudged=sum(not f.judged for f in found if f.outcome is Outcome.MISSED),
        lead_s=_median(f.lead_s for f in seen),
        from_onset_s=_median(f.from_onset_s for f in seen),
        by=dict(sorted(by.items(), key=lambda one: (-one[1], one[0]))),
    )


def _rules(scores: Sequence[Score], found: Sequence[Found]) -> dict[str, RuleLine]:
    first = Counter(f.by.rule for f in found if f.by is not None)
    false: dict[str, list[Priority]] = {}
    blind: dict[str, float] = {}
    for one in scores:
        for cried in one.false:
            false.setdefault(cried.said.rule, []).append(cried.said.priority)
        for rule, blind_s in one.blind_s.items():
            blind[rule] = blind.get(rule, 0.0) + blind_s
    return {
        rule: RuleLine(
            faults_of(rule), first[rule], _by_priority(false.get(rule, ())), blind.get(rule, 0.0) / 3600.0
        )
        for rule in sorted(first.keys() | false.keys() | blind.keys())
    }


def _by_priority(priorities: Iterable[Priority]) -> dict[Priority, int]:
    counted = Counter(priorities)
    return {p: counted[p] for p in ALARMS}


def _median(values: Iterable[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return median(known) if known else None
