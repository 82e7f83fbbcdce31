"""``meltledger backtest``: judge stored trials with the live rules, and count what they found and missed."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, cast

import click

from historian.errors import WrongInput
from meltledger.backtesting.archives import archives
from meltledger.backtesting.crew import Crew, Way, crew, own_cores, way_for
from meltledger.backtesting.job import Job, Result, judge_trial
from meltledger.cli import FOUND
from meltledger.config import load
from rules.backtest.lots import LOT_S
from rules.backtest.summary import ALARMS, Summary, summary
from rules.backtest.tables import (
    FAULT_HEAD,
    RULE_HEAD,
    as_text,
    beside,
    fault_rows,
    missed_lines,
    rule_rows,
    score_json,
    sentences,
    to_json,
)

_PATH = click.Path(path_type=Path)


@click.command(
    "backtest", help="Judge stored trials with the live rules; count what was found, missed, false."
)
@click.argument("rules", type=_PATH)
@click.option("--beside", "other", type=_PATH, help="A second line's file, to be compared with the first.")
@click.option(
    "--over",
    "first",
    type=_PATH,
    required=True,
    help="A stored trial, or a folder of them: a store's folder or a .parquet file. More may follow.",
)
@click.argument("more", nargs=-1, type=_PATH, metavar="[ARCHIVE]...")
@click.option("--json", "as_json", is_flag=True, help="Machine output.")
@click.option(
    "--least-found",
    type=click.FloatRange(0, 100),
    help="Exit with 1 where fewer per cent of the faults were found in time.",
)
@click.option("--scheduler", help="A Dask scheduler that does the work, as in tcp://host:8786.")
@click.option(
    "--spread",
    type=click.Choice(["dask", "processes", "turns"]),
    help="How trials are spread over this host [default: dask where it is installed, for more than one]",
)
@click.option("--workers", type=click.IntRange(1), help="Processes of this host [default: one a core]")
@click.option(
    "--lot",
    "lot_s",
    type=click.IntRange(1, 60),
    default=LOT_S,
    show_default=True,
    help="Seconds of arrival judged at once; above 10 silent sources are not found.",
)
def command(
    rules: Path,
    other: Path | None,
    first: Path,
    more: tuple[Path, ...],
    as_json: bool,
    least_found: float | None,
    scheduler: str | None,
    spread: str | None,
    workers: int | None,
    lot_s: int,
) -> int:
    """Print the score; exit with 1 below the bar, or where a trial could not be judged."""
    versions = [load(file) for file in [rules, *([] if other is None else [other])]]
    places = archives([first, *more])
    jobs = [Job(place, tuple(v.facts for v in versions), lot_s) for place in places]
    way = way_for(len(jobs), scheduler, cast(Way | None, spread))
    results = _results(jobs, way, workers, scheduler)
    scored = [r for r in results if r.scores]
    failed = [r for r in results if r.error]
    if len(failed) == len(results):
        raise WrongInput("none of the trials could be judged:\n" + "\n".join(_failure(r) for r in failed))
    sums = [summary(r.scores[n] for r in scored) for n in range(len(versions))]
    if as_json:
        click.echo(json.dumps(_json(results, sums, [rules, *([] if other is None else [other])])))
    else:
        for line in _lines(results, sums, [str(v.path) for v in versions]):
            click.echo(line)
    for one in failed:
        click.echo(_failure(one), err=True)
    return FOUND if failed or _is_short(sums[0], least_found) else 0


def _results(jobs: Sequence[Job], way: Way, workers: int | None, scheduler: str | None) -> list[Result]:
    """What came of the jobs, in their order."""
    found: dict[int, Result] = {}
    hands = min(workers or own_cores(), len(jobs))
    with (
        crew(way, hands, scheduler) as those,
        click.progressbar(length=len(jobs), label="judging trials", file=sys.stderr) as progress,
    ):
        for number, result in _done(those, jobs):
            found[number] = result
            progress.update(1)
    return [found[n] for n in range(len(jobs))]


def _done(those: Crew, jobs: Sequence[Job]) -> Any:
    with closing(cast(Any, those.do(judge_trial, jobs))) as doing:
        for done in doing:
            if done.result is None:
                why = f"{type(done.error).__name__}: {done.error}"
                yield done.number, Result(jobs[done.number].archive, error=why)
            else:
                yield done.number, done.result


def _is_short(whole: Summary, least_percent: float | None) -> bool:
    """Whether too few faults were found in time.

    Raises:
        WrongInput: a bar is given, and no fault was due.
    """
    if least_percent is None:
        return False
    if whole.all.percent is None:
        raise WrongInput("--least-found: no fault was due in these trials, so there is nothing to measure")
    return whole.all.percent < least_percent


def _failure(one: Result) -> str:
    return one.error if str(one.archive) in one.error else f"{one.archive}: {one.error}"


def _lines(results: Sequence[Result], sums: Sequence[Summary], names: Sequence[str]) -> list[str]:
    scored = [r for r in results if r.scores]
    said: list[str] = []
    for n, (whole, name) in enumerate(zip(sums, names, strict=True)):
        if not scored:
            break
        said += [f"Rules of {name}", "", *(f"  {s}" for s in sentences(whole)), ""]
        said += [f"  {row}" for row in as_text(FAULT_HEAD, fault_rows(whole))]
        said += ["", *(f"  {row}" for row in as_text(RULE_HEAD, rule_rows(whole))), ""]
        wrong = [line for r in scored for line in missed_lines(r.archive.name, r.scores[n])]
        said += [*(["Late, missed, false", *(f"  {line}" for line in wrong), ""] if wrong else [])]
    if len(sums) > 1 and scored:
        head, rows = beside(sums[0], sums[1], ("first", "second"))
        said += ["First and second side by side", *(f"  {row}" for row in as_text(head, rows)), ""]
    unknown = [r for r in results if not r.scores and not r.error]
    if unknown:
        said += ["No truth stands beside these trials; what was said in them:"]
        said += [f"  {r.archive.name}: {_counted(r)}" for r in unknown]
    return said


def _counted(one: Result) -> str:
    alarms = [s for s in one.said if s.priority in ALARMS and not s.late and s.root is None]
    by_rule = Counter(s.rule for s in alarms)
    priorities = Counter(s.priority for s in alarms)
    counts = ", ".join(f"{priorities[p]} {p.name.lower()}" for p in ALARMS)
    rules = ", ".join(f"{rule} {n}" for rule, n in sorted(by_rule.items(), key=lambda x: (-x[1], x[0])))
    return f"{counts}{f' ({rules})' if rules else ''}"


def _json(results: Sequence[Result], sums: Sequence[Summary], files: Sequence[Path]) -> dict[str, Any]:
    trials = [
        {
            "archive": str(r.archive),
            "scores": [score_json(s) for s in r.scores],
            "said": [
                {
                    "rule": s.rule,
                    "subject": s.subject,
                    "found_ns": s.found_ns,
                    "priority": s.priority.name.lower(),
                }
                for s in r.said
            ],
            "error": r.error or None,
        }
        for r in results
    ]
    return {"rules": [str(f) for f in files], "summaries": [to_json(s) for s in sums], "trials": trials}
