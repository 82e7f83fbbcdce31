"""What a backtest came to, as rows for people and as JSON types."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from rules.backtest.matching import BY_FAULT
from rules.backtest.scoring import Found, Score
from rules.backtest.summary import ALARMS, Line, RuleLine, Summary

Rows = Sequence[Sequence[str]]

FAULT_HEAD = (
    "fault", "due", "found in time", "late", "missed", "not due", "first", "after it could be seen",
    "after its onset", "found by", "what it is",
)  # fmt: skip
RULE_HEAD = ("rule", "counts for", "found first", "false high", "medium", "low", "not judged, h")
_NONE = "–"


def fault_rows(whole: Summary) -> Rows:
    """One row a fault, and one for all."""
    lines = [*whole.by_fault.items(), ("all", whole.all)]
    return [[name, *_cells(line), BY_FAULT[name].text if name in BY_FAULT else ""] for name, line in lines]


def rule_rows(whole: Summary) -> Rows:
    """One row a rule that found something, cried for nothing or could not judge."""
    return [
        [
            rule,
            " ".join(line.faults) or _NONE,
            str(line.found),
            *(str(line.false[p]) for p in ALARMS),
            f"{line.blind_h:.1f}",
        ]
        for rule, line in whole.by_rule.items()
    ]


def sentences(whole: Summary) -> list[str]:
    """What is not in the tables, in words."""
    rates = []
    for p in ALARMS:
        rate, n = whole.false_per_healthy_h(p), whole.false_healthy[p]
        told = "" if rate is None else f" ({_one_in(rate)})"
        rates.append(f"{n} {p.name.lower()}{told}")
    during = sum(whole.false.values()) - sum(whole.false_healthy.values())
    said = [
        f"{whole.trials} trials, {whole.recorded_h:.1f} h recorded, {whole.healthy_h:.1f} h of them healthy.",
        f"False while nothing was wrong: {', '.join(rates)}. False while something else was: {during}.",
        f"Consequences of what was wrong, neither found nor false: {whole.consequences}. "
        f"In samples that came late, never alarms: {whole.late_samples}.",
        f"Stretches that had to stay quiet: {whole.quiet}, disturbed: {whole.disturbed}.",
    ]
    if whole.all.blind:
        said.append(f"Of those late or missed, {whole.all.blind} could not be judged for a while.")
    if whole.all.unjudged:
        said.append(f"Of those missed, {whole.all.unjudged} are judged by no rule of this line.")
    said += [f"Rule {rule} failed and judged no more: {why}" for rule, why in whole.stopped]
    return said


def missed_lines(name: str, one: Score) -> list[str]:
    """What was not found in time in a trial, and what was cried for nothing, in words."""
    lines = [f"{name}: {_of(f)}" for f in one.found if f.outcome in ("late", "missed")]
    for cried in one.false:
        s = cried.said
        where = "" if cried.healthy else ", while something else was wrong"
        quiet = f", in {' '.join(cried.quiet)}, which had to stay quiet" if cried.quiet else ""
        lines.append(f"{name}: false: {s.rule} of {s.subject} ({s.priority.name.lower()}{where}{quiet})")
    return lines


def as_text(head: Sequence[str], rows: Rows) -> list[str]:
    """The rows in columns for a terminal; text to the left."""
    table = [list(head), *(list(r) for r in rows)]
    widths = [max(len(row[n]) for row in table) for n in range(len(head))]
    return ["  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in table]


def as_markdown(head: Sequence[str], rows: Rows) -> list[str]:
    """The rows as a table in Markdown."""
    table = [list(head), ["---"] * len(head), *(list(r) for r in rows)]
    return [f"| {' | '.join(row)} |" for row in table]


def beside(whole: Summary, other: Summary, names: tuple[str, str]) -> tuple[Sequence[str], Rows]:
    """Two versions of the rules over the same trials: heading and rows."""
    head = ["fault", "due", *(f"{what}, {n}" for what in ("found", "lead", "missed") for n in names)]
    rows = []
    empty = Line(0, 0, 0, 0, 0, 0, 0, None, None, {})
    numbers = dict.fromkeys([*whole.by_fault, *other.by_fault])
    pairs = [(n, whole.by_fault.get(n, empty), other.by_fault.get(n, empty)) for n in numbers]
    for name, a, b in [*pairs, ("all", whole.all, other.all)]:
        found, lead = [str(a.found), str(b.found)], [duration(a.lead_s), duration(b.lead_s)]
        rows.append([name, str(a.due), *found, *lead, str(a.missed + a.late), str(b.missed + b.late)])
    for p in ALARMS:
        counts = [str(whole.false[p]), str(other.false[p])]
        rows.append([f"false, {p.name.lower()}", "", *counts, "", "", "", ""])
    return head, rows


def to_json(whole: Summary) -> dict[str, Any]:
    """A summary as JSON types."""
    rates = {p.name.lower(): whole.false_per_healthy_h(p) for p in ALARMS}
    return {
        "trials": whole.trials,
        "recorded_h": whole.recorded_h,
        "healthy_h": whole.healthy_h,
        "all": _line_json(whole.all),
        "faults": {n: _line_json(line) for n, line in whole.by_fault.items()},
        "rules": {n: _rule_json(line) for n, line in whole.by_rule.items()},
        "false": {p.name.lower(): whole.false[p] for p in ALARMS},
        "false_healthy": {p.name.lower(): whole.false_healthy[p] for p in ALARMS},
        "false_per_healthy_h": rates,
        "consequences": whole.consequences,
        "late_samples": whole.late_samples,
        "quiet": whole.quiet,
        "disturbed": whole.disturbed,
        "stopped": [{"rule": rule, "reason": why} for rule, why in whole.stopped],
    }


def score_json(one: Score) -> dict[str, Any]:
    """A trial's score as JSON types."""
    return {
        "found": [_found_json(f) for f in one.found],
        "false": [
            {"healthy": f.healthy, "quiet": list(f.quiet), "not_for": list(f.not_for), **_said_json(f.said)}
            for f in one.false
        ],
        "consequences": [_said_json(s) for s in one.consequences],
        "late_samples": one.late_samples,
        "quiet": list(one.quiet),
        "disturbed": list(one.disturbed),
        "healthy_s": one.healthy_s,
        "recorded_s": one.recorded_s,
        "blind_s": dict(one.blind_s),
    }


def duration(seconds: float | None) -> str:
    """A time span as a person says it.

    Example:
        >>> duration(12.34), duration(300.0), duration(None)
        ('12 s', '5.0 min', '–')
    """
    if seconds is None:
        return _NONE
    return f"{seconds:.0f} s" if abs(seconds) < 120 else f"{seconds / 60:.1f} min"


def _cells(line: Line) -> list[str]:
    counts = [line.due, line.found, line.late, line.missed, line.not_due, line.first]
    by = ", ".join(f"{rule} {n}" for rule, n in line.by.items()) or _NONE
    return [*(str(n) for n in counts), duration(line.lead_s), duration(line.from_onset_s), by]


def _one_in(per_h: float) -> str:
    return "none" if per_h == 0 else f"one in {1 / per_h:.3g} h"


def _of(f: Found) -> str:
    what = f"{f.truth.id} {f.truth.number}{f' ({f.truth.text})' if f.truth.text else ''}"
    if f.by is not None:
        due = f.truth.within_s
        return f"{what}: late, {f.by.rule} after {duration(f.lead_s)}, due after {duration(due)}"
    why = "" if f.judged else "; no rule of this line judges it"
    blind = f"; not judged for {duration(f.blind_s)}" if f.blind_s else ""
    return f"{what}: missed, due after {duration(f.truth.within_s)}{why}{blind}"


def _line_json(line: Line) -> dict[str, Any]:
    return {**asdict(line), "due": line.due, "percent": line.percent}


def _rule_json(line: RuleLine) -> dict[str, Any]:
    false: Mapping[str, int] = {p.name.lower(): line.false[p] for p in ALARMS}
    return {"faults": list(line.faults), "found": line.found, "false": false, "blind_h": line.blind_h}


def _found_json(f: Found) -> dict[str, Any]:
    return {
        "id": f.truth.id,
        "number": f.truth.number,
        "outcome": str(f.outcome),
        "by": None if f.by is None else _said_json(f.by),
        "lead_s": f.lead_s,
        "from_onset_s": f.from_onset_s,
        "first": f.first,
        "blind_s": f.blind_s,
        "judged": f.judged,
    }


def _said_json(s: Any) -> dict[str, Any]:
    return {"rule": s.rule, "subject": s.subject, "found_ns": s.found_ns, "priority": s.priority.name.lower()}
