"""``meltledger export``: write a window of a line's store as CSV, Parquet or Excel."""

from __future__ import annotations

import difflib
import fnmatch
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
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
from trials.record import Trial, TrialRecord

_1970 = datetime(1970, 1, 1, tzinfo=UTC)
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
        f"tag{'s' * (tags != 1)}, {_shown(start_ns, zone)} to {_shown(end_ns, zone)}"
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
        return _trial_ns(config.trials, trial, zone)
    if start is None or trial is not None:
        raise WrongInput("give either --from (and --to), or --trial: they say which window to write")
    return _time_ns(start, zone), _time_ns(end, zone) if end else time.time_ns()


def _trial_ns(path: Path, name: str, zone: ZoneInfo) -> tuple[int, int]:
    """The window of the trial of that name; one that is under way goes on until now.

    Raises:
        WrongInput: there is none, or several.
    """
    trials: list[Trial] = []
    if path.exists():
        with closing(TrialRecord.open(path)) as record:
            trials = record.trials()
    named = [t for t in trials if t.name == name]
    if not named:
        near = difflib.get_close_matches(name, [t.name for t in trials], n=3, cutoff=0.3)
        hint = f"the nearest: {', '.join(near)}" if near else "`meltledger trial list` names them"
        raise WrongInput(f"no trial is named '{name}'; {hint}")
    if len(named) > 1:
        starts = ", ".join(_shown(t.start_ns, zone) for t in named)
        raise WrongInput(f"{len(named)} trials are named '{name}' (from {starts}): give --from and --to")
    end_ns = named[0].end_ns
    return named[0].start_ns, time.time_ns() if end_ns is None else end_ns


def _shown(time_ns: int, zone: ZoneInfo) -> str:
    return datetime.fromtimestamp(time_ns // NS, zone).isoformat(sep=" ", timespec="seconds")


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


def _time_ns(text: str, zone: ZoneInfo) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise WrongInput(f"'{text}' is no time; such as 2026-11-25T08:00") from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    return (moment - _1970) // timedelta(microseconds=1) * 1000
