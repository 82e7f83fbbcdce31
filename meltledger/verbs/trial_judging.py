"""``meltledger trial check``, ``compare`` and ``scale-up``: before a trial, beside another, beyond it."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Iterator, Sequence
from math import isnan
from pathlib import Path
from typing import Any

import click

from historian.errors import WrongInput
from meltledger.cli import FOUND
from meltledger.customers import check_comparable
from meltledger.evaluating import evaluate
from meltledger.recordedline import RecordedLine, recorded_line
from meltledger.verbs.trial_entry import FILE, TRIAL
from rules.backtest.tables import as_text
from trials import comparison, preanalysis, scale_up
from trials.comparison import Side, Trait
from trials.outcome import Outcome, Point
from trials.record import book_of
from trials.scale_up.words import HEADER as SIZES_HEADER

_PATH = click.Path(path_type=Path)


@click.command("check", help="Hold a material against the line before its trial; 1 when something is beyond.")
@FILE
@click.argument("limits", type=_PATH, required=False)
@TRIAL
def check(file: Path, limits: Path | None, name: str | None) -> int:
    """A sentence for each check; nothing is ever called safe."""
    told = {} if limits is None else _toml(limits)
    known = preanalysis.limits_of(told, "" if limits is None else str(limits))
    with recorded_line(file) as line:
        book = book_of(line.record.entries(line.trial(name).id))
        checks = preanalysis.checks_of(book, line.config.facts, known)
    _table(preanalysis.HEADER, preanalysis.rows_of(checks))
    _sentences(preanalysis.sentences_of(checks))
    bad = {preanalysis.Verdict.BEYOND, preanalysis.Verdict.FOUND}
    return FOUND if any(c.verdict in bad for c in checks) else 0


@click.command("compare", help="Set trials, operating points, phases or screens side by side.")
@FILE
@click.argument("sides", nargs=-1, required=True)
@click.option(
    "--across",
    multiple=True,
    type=click.Choice([t.value for t in Trait]),
    help="What is meant to differ, such as fineness.",
)
@click.option(
    "--along",
    type=click.Choice(["time", "throughput", "cleanings"]),
    help="Also the pressure difference along that.",
)
def compare(file: Path, sides: tuple[str, ...], across: tuple[str, ...], along: str | None) -> int:
    """SIDES: a trial, or TRIAL/P2, TRIAL/screens, TRIAL/points, TRIAL/ramp and other phases."""
    with recorded_line(file) as line:
        outcomes: dict[str, Outcome] = {}
        chosen = [one for side in sides for one in _sides(line, side, outcomes)]
        check_comparable(line.config, [line.trial(name) for name in outcomes])
    found = comparison.compare(chosen, [Trait(a) for a in across])
    _table(comparison.header_of(found), comparison.rows_of(found))
    _sentences(comparison.sentences_of(found))
    if along is not None:
        _along(along, chosen)
    return 0


@click.command("scale-up", help="Say what a production line needs, by a trial; 1 when that is refused.")
@FILE
@click.argument("wanted", type=_PATH)
@click.option("--sizes", type=_PATH, help="Your table of machines, TOML or CSV.")
@click.option("--point", help="Which operating point, such as P2; the one that answers for the trial else.")
@TRIAL
def scale_up_verb(file: Path, wanted: Path, sizes: Path | None, point: str | None, name: str | None) -> int:
    """Area, pressure and interval with their ranges, the smallest machine that is enough, and why."""
    asked = scale_up.wanted_of(_toml(wanted), str(wanted))
    table = scale_up.read_sizes(sizes) if sizes is not None else ()
    with recorded_line(file) as line:
        outcome = evaluate(line.config, line.record, line.trial(name), time.time_ns())
    one = None if point is None else _point_named(outcome, point)
    answer = scale_up.scale_up(scale_up.seen_of(outcome, one), asked, table)
    _sentences(scale_up.sentences_of(answer))
    if answer.rows:
        _table(SIZES_HEADER, scale_up.rows_of(answer))
    return FOUND if answer.refused else 0


def _sides(line: RecordedLine, side: str, outcomes: dict[str, Outcome]) -> Iterator[Side]:
    """What one word names; a trial's name may itself hold a stroke."""
    names = [t.name for t in line.record.trials()]
    name, stroke, part = (side, "", "") if side in names else side.rpartition("/")
    name, part = (name, part) if stroke else (side, "")
    if name not in outcomes:
        outcomes[name] = evaluate(line.config, line.record, line.trial(name), time.time_ns())
    outcome = outcomes[name]
    if part == "screens":
        yield from comparison.sides_of_screens(outcome)
    elif part == "points":
        yield from comparison.sides_of_points(outcome)
    elif not part:
        if outcome.main is None:
            raise WrongInput(f"trial '{name}' has no steady time: there is nothing to compare")
        yield comparison.side_of_point(outcome, outcome.main)
    elif part in {p.name for p in outcome.points}:
        yield comparison.side_of_point(outcome, _point_named(outcome, part))
    else:
        phase = comparison.side_of_phase(outcome, part)
        if phase is None:
            known = ", ".join([*(p.name for p in outcome.points), "screens", "points"])
            raise WrongInput(f"'{part}' is no operating point and no phase of '{name}'; there are: {known}")
        yield phase


def _point_named(outcome: Outcome, name: str) -> Point:
    for one in outcome.points:
        if one.name == name:
            return one
    known = ", ".join(p.name for p in outcome.points) or "none"
    raise WrongInput(f"trial '{outcome.trial.name}' has no operating point {name}; there are: {known}")


def _along(along: str, sides: Sequence[Side]) -> None:
    dp = "filter.dp.calc"
    match along:
        case "time":
            found = comparison.by_time(sides, dp)
        case "throughput":
            found = comparison.by_throughput(sides, dp)
        case _:
            found = comparison.by_cleaning(sides, comparison.CycleValue.TROUGH)
    what = "after a cleaning" if along == "cleanings" else "mean"
    header = (f"{found.axis}, {found.unit}", *(f"{s.name}, bar {what}" for s in sides))
    rows = [
        (f"{at:.5g}", *("" if isnan(v) else f"{v:.3g}" for v in values))
        for at, *values in zip(found.at.tolist(), *(v.tolist() for v in found.values), strict=True)
    ]
    _table(header, rows)
    _sentences(found.remarks)


def _table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    for line in as_text(header, rows):
        click.echo(line)
    click.echo("")


def _sentences(told: Sequence[str]) -> None:
    for sentence in told:
        click.echo(sentence)


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise WrongInput(f"{path}: there is no such file") from error
    except (OSError, ValueError) as error:
        raise WrongInput(f"{path}: cannot be read: {error}") from error
