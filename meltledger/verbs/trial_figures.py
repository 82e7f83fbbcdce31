"""``meltledger trial figures`` and ``enough``: what came out, and what a valid result still needs."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Mapping
from math import isfinite
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import click

from historian.units import shown_unit
from meltledger.cli import FOUND
from meltledger.evaluating import evaluate
from meltledger.recordedline import recorded_line
from meltledger.verbs.trial_entry import FILE, TRIAL
from meltledger.windows import shown
from trials.enough import Ask, Enough, enough_of
from trials.figures.figure import Figure
from trials.outcome import Outcome, Point
from trials.outcome.key_figures import KeyFigure, key_figures, not_shown
from trials.outcome.together import nothing_steady

_JSON = click.option("--json", "as_json", is_flag=True, help="Machine output.")


@click.command("figures", help="Show the figures of a trial's operating points, each with its uncertainty.")
@FILE
@TRIAL
@_JSON
def figures(file: Path, name: str | None, as_json: bool) -> int:
    """One block an operating point; figures without a value say why."""
    outcome, zone = _outcome(file, name)
    if as_json:
        click.echo(json.dumps(_plain(outcome), ensure_ascii=False, indent=1))
        return 0
    for line in _told(outcome, zone):
        click.echo(line)
    return 0


@click.command("enough", help="Say whether there is enough for a valid result; 1 when something is missing.")
@FILE
@TRIAL
@_JSON
def enough(file: Path, name: str | None, as_json: bool) -> int:
    """What is there, what is missing and how many minutes it needs; the eight figures, what was not shown."""
    outcome, _ = _outcome(file, name)
    answer = enough_of(outcome)
    point = nothing_steady(outcome) if answer.point is None else answer.point.figures
    keys = key_figures(outcome, point)
    if as_json:
        said = {
            "enough": answer.yes,
            "minutes": answer.minutes if isfinite(answer.minutes) else None,
            "asks": [_plain_ask(a) for a in answer.asks],
            "figures": [{**_plain_figure(k.figure), "verdict": str(k.verdict or "")} for k in keys],
        }
        click.echo(json.dumps(said, ensure_ascii=False, indent=1))
    else:
        for line in _answered(outcome, answer, keys):
            click.echo(line)
    return 0 if answer.yes else FOUND


def _outcome(file: Path, name: str | None) -> tuple[Outcome, ZoneInfo]:
    with recorded_line(file) as line:
        return evaluate(line.config, line.record, line.trial(name), time.time_ns()), line.zone


def _told(outcome: Outcome, zone: ZoneInfo) -> Iterator[str]:
    if not outcome.points:
        yield "Nothing ran steadily: no figure has a value."
        for one in nothing_steady(outcome).figures:
            yield f"  {one.name}: {one.absent}"
    for point in outcome.points:
        yield from _point(point, outcome, zone)
    for excluded in outcome.excluded:
        window = excluded.window
        yield (
            f"Not counted: {shown(window.start_ns, zone)} to {shown(window.end_ns, zone)}: {excluded.why}."
        )


def _point(point: Point, outcome: Outcome, zone: ZoneInfo) -> Iterator[str]:
    first, last = point.windows[0].start_ns, point.windows[-1].end_ns
    long_min = sum(w.s for w in point.windows) / 60
    yield f"{point.name}: {long_min:.0f} min steady, {shown(first, zone)} to {shown(last, zone)}"
    told = {"screen": point.screen, "lot": point.lot}
    yield "  " + ", ".join(f"{k} {v}" if v else f"{k} not told" for k, v in told.items())
    for why in point.figures.indicative:
        yield f"  indicative: {why}"
    for one in point.figures.figures:
        yield f"  {one.name}: {number(one)}"
        for remark in one.remarks:
            yield f"      {remark}"


def _answered(outcome: Outcome, answer: Enough, keys: list[KeyFigure]) -> Iterator[str]:
    what = f"operating point {answer.point.name}" if answer.point is not None else "no operating point"
    if answer.yes:
        yield f"Enough for a valid result: {what}."
    elif not isfinite(answer.minutes):
        yield f"Not enough yet ({what}); how long it takes cannot be told."
    elif answer.minutes > 0:
        yield f"Not enough yet ({what}): about {answer.minutes:.0f} more steady minutes, and what is listed."
    else:
        yield f"Not enough yet ({what}): no more time is needed, but what is listed."
    for ask in answer.asks:
        state = "is there" if ask.holds else f"missing: {ask.remedy}"
        yield (f"  {ask.name}: {ask.have:.3g} of {ask.asked:.3g}{_unit(ask.unit)}; {state}")
    yield "The figures beside what is wanted:"
    for key in keys:
        told = "no target" if key.verdict is None else str(key.verdict)
        yield f"  {key.figure.name}: {number(key.figure)}; {told}"
    missing = list(not_shown(keys))
    if missing:
        yield "Not shown in this trial: " + ", ".join(name for name, _ in missing) + "."
    yield "This is no statement that anything may be shut down or opened; go by the machine's manual."


def number(figure: Figure) -> str:
    """A figure's value with its expanded uncertainty, or why there is none."""
    if figure.value is None:
        return f"not known ({figure.absent})"
    wide = figure.expanded
    if wide is None or not wide > 0:
        return f"{figure.value:.3g}{_unit(figure.unit)}"
    places = max(0, 1 - _magnitude(wide))
    return f"{figure.value:.{places}f} ± {wide:.{places}f}{_unit(figure.unit)}"


def _unit(unit: str) -> str:
    return "" if unit == "1" else f" {shown_unit(unit)}"


def _magnitude(value: float) -> int:
    """Exponent of ten: two digits of an uncertainty are told. Source: JCGM 100:2008, 7.2.6."""
    return int(f"{value:e}".partition("e")[2])


def _plain(outcome: Outcome) -> dict[str, Any]:
    return {
        "trial": outcome.trial.name,
        "points": [
            {
                "name": p.name,
                "screen": p.screen,
                "lot": p.lot,
                "settings": dict(p.settings),
                "windows": [[w.start_ns, w.end_ns] for w in p.windows],
                "indicative": list(p.figures.indicative),
                "figures": [_plain_figure(f) for f in p.figures.figures],
            }
            for p in outcome.points
        ],
        "excluded": [
            {"start_ns": e.window.start_ns, "end_ns": e.window.end_ns, "why": e.why} for e in outcome.excluded
        ],
    }


def _plain_figure(figure: Figure) -> Mapping[str, Any]:
    return {
        "name": figure.name,
        "value": figure.value,
        "unit": figure.unit,
        "expanded_uncertainty": figure.expanded,
        "coverage_factor": figure.coverage,
        "method": figure.method,
        "tags": list(figure.tags),
        "absent": figure.absent,
        "remarks": list(figure.remarks),
    }


def _plain_ask(ask: Ask) -> Mapping[str, Any]:
    minutes = ask.minutes if isfinite(ask.minutes) else None
    return {
        "name": ask.name,
        "have": ask.have,
        "asked": ask.asked,
        "unit": ask.unit,
        "minutes": minutes,
        "remedy": ask.remedy,
    }
