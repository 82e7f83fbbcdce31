"""``meltledger export``: write a window of a line's store as CSV, Parquet or Excel."""

from __future__ import annotations

import fnmatch
import time
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from historian.aggregates import Aggregate
from historian.errors import WrongInput
from historian.exchange import Window, export_csv, export_excel, export_parquet
from historian.exchange.importing import Progress
from historian.frame import NS
from historian.store import Store
from historian.units import quantity
from meltledger.config import LineConfig, load
from meltledger.stores import open_store
from meltledger.verbs.bring import bar
from meltledger.windows import shown, time_ns_of, trial_window_ns

_KINDS = {".csv": "csv", ".parquet": "parquet", ".xlsx": "excel"}


@click.command("export", help="Write a window of a line's store as CSV, Parquet or Excel.")
@click.argument("line", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--from", "start", help="First time (ISO 8601; the line's zone unless it says one).")
@click.option("--to", "end", help="Time before which it ends; now when left out.")
@click.option("--trial", help="The window of a trial, by its name, instead of --from and --to.")
@click.option(
    "--tag", "patterns", multiple=True, help="A tag, or a pattern such as 'filter.*'; all when left out."
)
@click.option(
    "--aggregate",
    type=click.Choice([str(a) for a in Aggregate]),
    metavar="NAME",
    help="One number an interval, after OPC UA: Average, TimeAverage, Minimum, Maximum, PercentGood, ...",
)
@click.option("--every", help="Length of the interval, such as '1 min'.")
@click.option("--wide", is_flag=True, help="One column a tag (Excel always is).")
@click.option("--utc", is_flag=True, help="Times of CSV and Excel in UTC instead of the line's zone.")
def command(
    line: Path,
    out: Path,
    start: str | None,
    end: str | None,
    trial: str | None,
    patterns: tuple[str, ...],
    aggregate: str | None,
    every: str | None,
    wide: bool,
    utc: bool,
) -> int:
    """Write the file and say how many samples are in it."""
    config = load(line)
    zone = ZoneInfo(config.file.line.zone)
    start_ns, end_ns = _window_ns(config, zone, start, end, trial)
    store = open_store(config, mode="read")
    try:
        window = Window(
            _paths(store, patterns),
            start_ns,
            end_ns,
            round(quantity(every, "s") * NS) if every else 0,
            Aggregate(aggregate) if aggregate else None,
        )
        with bar(out.name, hidden=False) as progress:
            count = _write(store, out, window, wide, None if utc else zone, progress)
    finally:
        store.close()
    what = aggregate or "raw"
    tags = len(window.paths)
    click.echo(
        f"{out}: {count} {'number' if aggregate else 'sample'}{'s' * (count != 1)} ({what}) of {tags} "
        f"tag{'s' * (tags != 1)}, {shown(start_ns, zone)} to {shown(end_ns, zone)}"
    )
    return 0


def _window_ns(
    config: LineConfig, zone: ZoneInfo, start: str | None, end: str | None, trial: str | None
) -> tuple[int, int]:
    """What is to be written, [start, end), UTC nanoseconds.

    Raises:
        WrongInput: neither a start nor a trial is given, or both.
    """
    if trial is not None and start is None and end is None:
        return trial_window_ns(config.trials, trial, zone, time.time_ns())
    if start is None or trial is not None:
        raise WrongInput("give either --from (and --to), or --trial: they say which window to write")
    return time_ns_of(start, zone), time_ns_of(end, zone) if end else time.time_ns()


def _write(
    store: Store, out: Path, window: Window, wide: bool, zone: ZoneInfo | None, progress: Progress
) -> int:
    kind = _KINDS.get(out.suffix.lower())
    if kind == "csv":
        return export_csv(store, out, window, form="wide" if wide else "long", zone=zone, progress=progress)
    if kind == "parquet":
        return export_parquet(store, out, window, form="wide" if wide else "long", progress=progress)
    if kind == "excel":
        return export_excel(store, out, window, zone=zone, progress=progress)
    raise WrongInput(f"{out}: end the name in one of {', '.join(_KINDS)}: it says the form")


def _paths(store: Store, patterns: tuple[str, ...]) -> tuple[str, ...]:
    """The tags that any pattern means, in the order of their paths.

    Raises:
        WrongInput: a pattern means none.
    """
    known = sorted(store.tags())
    empty = [p for p in patterns if not fnmatch.filter(known, p)]
    if empty:
        raise WrongInput(f"no tag is meant by {', '.join(empty)}; `filter.*` would mean all of the filter's")
    return tuple(p for p in known if not patterns or any(fnmatch.fnmatchcase(p, q) for q in patterns))
