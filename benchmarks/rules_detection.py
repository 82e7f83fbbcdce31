"""What the rules find, miss and cry for nothing over the simulated days, beside two plain ways.

``python -m benchmarks.rules_detection --write-docs`` writes the table to docs/detection.md.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from benchmarks.figure import Figure
from benchmarks.prepared import HERE, alone
from benchmarks.rules_cases import (
    FAULTY,
    FIRST_SEED,
    HEALTHY,
    T0_NS,
    Case,
    facts_of,
    learning_days,
    prepared_cases,
    tags_of,
)
from benchmarks.rules_plain import (
    LIMIT,
    Z_SCORE,
    beyond_z,
    binned,
    limits_of,
    outside_limits,
    plain_score,
)
from meltledger.backtesting.archives import opened
from meltledger.backtesting.crew import crew, own_cores
from rules.backtest import Score, judged, score, summary
from rules.backtest.summary import Line, Summary
from rules.backtest.tables import FAULT_HEAD, as_markdown, duration, fault_rows, sentences
from rules.finding import Priority
from simulator.batch import batch

FOUND_PERCENT, FALSE_PER_H = 98.0, 0.01
# In a few hours one false alarm is many an hour, and one fault missed a tenth of all.
QUICK_FOUND_PERCENT, QUICK_FALSE_PER_H = 60.0, 0.3
PAGE = HERE / "docs" / "detection.md"


@dataclass(frozen=True, slots=True)
class Table:
    """The rules and the plain ways over the same days."""

    days: int
    ours: Summary
    plain: dict[str, Summary]


def figures(quick: bool) -> Iterator[Figure]:
    """Faults found in time, and false alarms of medium or high priority while nothing is wrong."""
    made = table(quick)
    plain = {way: s.all.percent or 0.0 for way, s in made.plain.items()}
    bar = QUICK_FOUND_PERCENT if quick else FOUND_PERCENT
    yield Figure(
        f"faults found in time over {made.days} simulated days, % against {bar:g}",
        made.ours.all.percent or 0.0, bar, 1.0, quick=quick, limit=bar, beside=plain,
    )  # fmt: skip
    most = QUICK_FALSE_PER_H if quick else FALSE_PER_H
    yield Figure(
        f"false alarms of medium or high priority, an hour of healthy running against {most:g}",
        _false_per_h(made.ours), most, 1.0, True, quick, limit=most,
        beside={way: _false_per_h(s) for way, s in made.plain.items()},
    )  # fmt: skip


def table(quick: bool) -> Table:
    """Judge the days in three ways."""
    days = prepared_cases(quick=quick)
    with crew("processes", min(2, own_cores())) as those:
        done = sorted(those.do(_scores, days), key=lambda d: d.number)
    for one in done:
        if one.error is not None:
            raise RuntimeError(f"{days[one.number][1]}: could not be judged") from one.error
    scores = [one.result for one in done if one.result is not None]
    ours, limit, z_score = (summary(s[n] for s in scores) for n in range(3))
    return Table(len(days), ours, {LIMIT: limit, Z_SCORE: z_score})


def _scores(day: tuple[Case, Path]) -> tuple[Score, Score, Score]:
    case, folder = day
    with opened(folder) as trial:
        truths = trial.truth or ()
        ours = score(judged(trial.frames, trial.tags, facts_of(case), trial.told), truths)
        seen = binned(trial.frames, trial.tags)
    limit = plain_score(seen, outside_limits(seen, _limits(case.base)), LIMIT, truths)
    return ours, limit, plain_score(seen, beyond_z(seen), Z_SCORE, truths)


@cache
def _limits(base: str) -> dict[str, tuple[float, float]]:
    scenario = learning_days()[base]
    tags = {t.path: replace(t, id=n) for n, t in enumerate(tags_of(scenario), start=1)}
    day = binned(enumerate(batch(scenario, tags, T0_NS)), tags)
    low, high = limits_of(day)
    return {p: (float(a), float(b)) for p, a, b in zip(day.paths, low, high, strict=True)}


def _false_per_h(whole: Summary) -> float:
    rates = [whole.false_per_healthy_h(p) for p in (Priority.HIGH, Priority.MEDIUM)]
    return sum(r for r in rates if r is not None)


def page(made: Table) -> str:
    """The page for people."""
    lead = [
        "# What the rules find",
        "",
        "Made by `python -m benchmarks.rules_detection --write-docs`; do not edit.",
        "",
        f"{made.days} simulated days: of each scenario {FAULTY} faulty and {HEALTHY} healthy variants, and "
        "each fault alone on a running line, every one another plant. Their seeds begin at "
        f"{FIRST_SEED}; the rules were tried out on others. Everything is simulated: a real line has faults "
        "that no simulator knows, so these figures are no promise for one. How it counts stands in "
        "[backtest.md](backtest.md).",
        "",
        *(f"- {s}" for s in sentences(made.ours)),
        "",
        *as_markdown(FAULT_HEAD, fault_rows(made.ours)),
        "",
        "## Beside two plain ways",
        "",
        "*Fixed limits*: beyond what a healthy day of the same design showed, and a tenth of its range more, "
        "for 30 s. *Moving z-score*: more than five standard deviations off the half hour before, for 30 s. "
        "Both are silent while the line stands and ten minutes after its start, and a find counts on any "
        "signal where the fault shows.",
        "",
        *as_markdown(*_side_by_side(made)),
        "",
    ]
    return "\n".join(lead)


def _side_by_side(made: Table) -> tuple[Sequence[str], list[list[str]]]:
    ways = {"rules": made.ours, **made.plain}
    head = ["fault", "due", *(f"{way}: {what}" for way in ways for what in ("found in time", "median lead"))]
    empty = Line(0, 0, 0, 0, 0, 0, 0, None, None, {})
    rows = []
    for number in [*made.ours.by_fault, "all"]:
        lines = [w.all if number == "all" else w.by_fault.get(number, empty) for w in ways.values()]
        cells = [c for line in lines for c in (str(line.found), duration(line.lead_s))]
        rows.append([number, str(lines[0].due), *cells])
    for p in (Priority.HIGH, Priority.MEDIUM, Priority.LOW):
        cells = [c for w in ways.values() for c in (str(w.false_healthy[p]), "")]
        rows.append([f"false {p.name.lower()}, healthy", "", *cells])
    return head, rows


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the page, or write it."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.rules_detection", description=__doc__)
    parser.add_argument("--write-docs", action="store_true", help=f"write {PAGE.name}")
    parser.add_argument("--quick", action="store_true", help="four short days")
    options = parser.parse_args(arguments)
    if options.write_docs and options.quick:
        parser.error("four short days are no table for the page: leave --quick out")
    with alone():
        text = page(table(options.quick))
    if options.write_docs:
        PAGE.write_text(text, encoding="utf-8")
        print(PAGE, file=sys.stderr)
    else:
        print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main())
