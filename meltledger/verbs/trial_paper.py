"""``meltledger trial paper``, ``bag``, ``weigh``, ``screen`` and ``suspect``: paper, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from historian.errors import StoreReadOnly, WrongInput
from historian.exchange.exporting import whole
from historian.units import quantity
from meltledger.cli import FOUND
from meltledger.recordedline import recorded_line
from meltledger.verbs.trial_entry import AT, BY, FILE, INSTEAD, TRIAL, write
from meltledger.windows import shown, time_ns_of
from trials.bags import Suspicion, bags_of, suspect_bags
from trials.paper.code import Code, Kind
from trials.record import What, book_of

_PATH = click.Path(path_type=Path)


@click.command("paper", help="Write the run sheet and the labels of a trial, to be printed.")
@FILE
@click.option("--to", "out", type=_PATH, default=Path(), help="Folder; this one when left out.")
@click.option("--samples", type=click.IntRange(0, 999), default=24, help="How many labels of samples.")
@click.option("--bags", type=click.IntRange(0, 999), default=24, help="How many labels of bags.")
@TRIAL
def paper(file: Path, out: Path, samples: int, bags: int, name: str | None) -> int:
    """Two pages in HTML; a browser prints them."""
    try:
        from trials.paper.sheets import Sheet, labels_html, run_sheet_html
    except ImportError as error:
        raise WrongInput("codes on paper need segno: pip install 'meltledger[report]'") from error
    with recorded_line(file) as line:
        trial = line.trial(name)
        plan = book_of(line.record.entries(trial.id)).only(What.PLAN)
        sheet = Sheet(
            trial.id,
            trial.name,
            trial.code_name,
            line.config.facts.name,
            str(plan.get("question", "")),
            _planned(plan),
        )
    codes = [Code(trial.id, Kind.SAMPLE, n + 1) for n in range(samples)]
    codes += [Code(trial.id, Kind.BAG, n + 1) for n in range(bags)]
    called = f"{trial.code_name or 'trial'}-{trial.id}"
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreReadOnly(f"{out}: cannot be made ({error}); name another folder") from error
    for path, text in (
        (out / f"{called}-run-sheet.html", run_sheet_html(sheet)),
        (out / f"{called}-labels.html", labels_html(sheet, codes)),
    ):
        with whole(path) as part:
            part.write_text(text, encoding="utf-8")
        click.echo(str(path))
    return 0


@click.command("bag", help="Write down that a bag is full; its number or the code of its label.")
@FILE
@click.argument("bag")
@click.option("--net", help='Its net weight, such as "824 kg".')
@click.option("--use", type=click.Choice(["good", "reject", "held back"]), help="What a person decided.")
@TRIAL
@AT
@BY
@INSTEAD
def bag_(file: Path, bag: str, net: str | None, use: str | None, **rest: Any) -> int:
    """Add a bag."""
    return _write(file, What.BAG, {"name": bag, "net": net, "use": use}, **rest)


@click.command("weigh", help="Write down a bucket of what was discharged: gross and tare.")
@FILE
@click.argument("gross")
@click.argument("tare")
@click.option("--minutes", help='Over how long it came, such as "30 min"; else since the last weighing.')
@click.option("--bucket", help="Which bucket.")
@TRIAL
@AT
@BY
@INSTEAD
def weigh(file: Path, gross: str, tare: str, minutes: str | None, bucket: str | None, **rest: Any) -> int:
    """Add a weighing."""
    data = {"gross": gross, "tare": tare, "minutes": minutes, "bucket": bucket}
    return _write(file, What.WEIGHING, data, **rest)


@click.command("screen", help="Write down which screen was mounted.")
@FILE
@click.argument("serial")
@click.argument("fineness")
@click.option("--area", help='Area through which melt flows, such as "1240 cm2".')
@click.option("--mesh", help="Mesh or weave as its maker writes it.")
@click.option("--why", help="Why it was changed.")
@TRIAL
@AT
@BY
@INSTEAD
def screen(
    file: Path, serial: str, fineness: str, area: str | None, mesh: str | None, why: str | None, **rest: Any
) -> int:
    """Add a screen."""
    data = {"serial": serial, "fineness": fineness, "area": area, "mesh": mesh, "why": why}
    return _write(file, What.SCREEN, data, **rest)


@click.command("suspect", help="List the bags that may hold pellets of a time; 1 when there are any.")
@FILE
@click.option("--from", "start", required=True, help="Since when, such as the last time all was well.")
@click.option("--to", "end", required=True, help="Until when.")
@click.option("--lag", nargs=2, required=True, help='Least and most time into the bag: "2 min" "15 min".')
@click.option("--why", default="", help="What happened, such as a torn screen.")
@TRIAL
def suspect(file: Path, start: str, end: str, lag: tuple[str, str], why: str, name: str | None) -> int:
    """One line a bag; which of them are spoilt is for a person to say."""
    with recorded_line(file) as line:
        trial = line.trial(name)
        from_ns, to_ns = (time_ns_of(t, line.zone) for t in (start, end))
        least_s, most_s = (quantity(text, "s") for text in lag)
        if to_ns <= from_ns or not 0 <= least_s <= most_s:
            raise WrongInput("--to lies after --from, and the least lag is not longer than the most")
        bags = bags_of(book_of(line.record.entries(trial.id)).standing, trial.start_ns)
        found = suspect_bags(bags, [Suspicion(from_ns, to_ns, (least_s, most_s), why)])
        for one in found:
            filled = f"{shown(one.bag.from_ns, line.zone)} to {shown(one.bag.to_ns, line.zone)}"
            net = "not weighed" if one.bag.net_kg is None else f"{one.bag.net_kg:g} kg"
            click.echo(f"{one.bag.name}: {filled}, {net}, {one.bag.use}, {one.share:.0%} of its filling")
    if bags and from_ns + round(most_s * 1e9) > bags[-1].to_ns:
        click.echo("What was filled after the last bag that is written down is not known.")
    if not found:
        click.echo("no bag that is written down" if bags else "no bags are written down")
    return FOUND if found else 0


def _planned(plan: Any) -> list[tuple[str, str]]:
    told = [(key, str(plan[key])) for key in ("throughput", "steady") if plan.get(key)]
    told += [("fineness", ", ".join(plan["fineness"]))] if plan.get("fineness") else []
    return [*told, *((path, str(value)) for path, value in plan.get("settings", {}).items())]


def _write(
    file: Path,
    what: What,
    data: Mapping[str, str | None],
    *,
    name: str | None,
    at: str | None,
    by: str,
    instead_of: int | None,
) -> int:
    told = {key: value for key, value in data.items() if value is not None}
    return write(file, name, what, told, at, by, instead_of)
