"""``meltledger export``: write a window of a line's store as CSV, Parquet or Excel."""

from __future__ import annotations

import fnmatch
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from historian.aggregates import Aggregate
from historian.embedded import EmbeddedStore
from historian.errors import WrongInput
from historian.exchange import Window, export_csv, export_excel, export_parquet
from historian.exchange.importing import Progress
from historian.frame import NS
from historian.store import Store
from historian.units import quantity
from meltledger.config import load
from meltledger.verbs.bring import bar

_1970 = datetime(1970, 1, 1, tzinfo=UTC)
_KINDS = {".csv": "csv", ".parquet": "parquet", ".xlsx": "excel"}


@click.command("export", help="Write a window of a line's store as CSV, Parquet or Excel.")
@click.argument("line", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@click.option(
    "--from", "start", required=True, help="First time (ISO 8601; the line's zone unless it says one)."
)
@click.option("--to", "end", required=True, help="Time before which it ends.")
@click.option(
    "--tag", "patterns", multiple=True, help="A tag, or a pattern such as 'filter.*'; all when left out."
)
@click.option(
    "--aggregate", type=click.Choice([str(a) for a in Aggregate]), help="One number an interval (OPC UA)."
)
@click.option("--every", help="Length of the interval, such as '1 min'.")
@click.option("--wide", is_flag=True, help="One column a tag (Excel always is).")
@click.option("--utc", is_flag=True, help="Times of CSV and Excel in UTC instead of the line's zone.")
def command(
    line: Path,
    out: Path,
    start: str,
    end: str,
    patterns: tuple[str, ...],
    aggregate: str | None,
    every: str | None,
    wide: bool,
    utc: bool,
) -> int:
    """Write the file and say how many samples are in it."""
    config = load(line)
    zone = ZoneInfo(config.file.line.zone)
    store = EmbeddedStore.open(config.folder, mode="read")
    try:
        window = Window(
            _paths(store, patterns),
            _time_ns(start, zone),
            _time_ns(end, zone),
            round(quantity(every, "s") * NS) if every else 0,
            Aggregate(aggregate) if aggregate else None,
        )
        with bar(out.name, hidden=False) as progress:
            count = _write(store, out, window, wide, None if utc else zone, progress)
    finally:
        store.close()
    click.echo(f"{out}: {count} {'numbers' if aggregate else 'samples'} of {len(window.paths)} tags")
    return 0


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
