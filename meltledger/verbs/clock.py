"""``meltledger clock``: fix a source's clock offset for a stretch, or confirm this computer's clock."""

from __future__ import annotations

import getpass
import json
import time
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import click

from historian.clocks.record import confirm as put_confirm
from historian.clocks.record import fix as put_fix
from historian.clocks.record import read_record
from historian.clocks.record import withdraw as put_withdraw
from historian.errors import WrongInput
from historian.frame import NS
from historian.units import quantity
from meltledger.config import LineConfig, load

_1970 = datetime(1970, 1, 1, tzinfo=UTC)
_MS = 1_000_000
_FILE = click.argument("file", type=click.Path(path_type=Path))
_BY = click.option("--by", default=getpass.getuser, show_default="you", help="Who says so.")
_WHY = click.option("--why", required=True, help="For what reason; it stays in the record.")


@click.group("clock", help="Fix a source's clock offset for a stretch; confirm this computer's clock.")
def command() -> None:
    """The verbs about clocks. What is stored is never altered."""


@command.command("list", help="Everything that was said about clocks, oldest first.")
@_FILE
@click.option("--json", "as_json", is_flag=True, help="Machine output, one entry a line.")
def list_(file: Path, as_json: bool) -> int:
    """One line an entry."""
    config = load(file)
    zone = ZoneInfo(config.file.line.zone)
    record = read_record(config.folder)
    counting = {f.id for f in record.fixes}
    for number, line in enumerate(record.lines, 1):
        if as_json:
            click.echo(json.dumps({"id": number, "counts": number in counting, **line}, ensure_ascii=False))
        else:
            click.echo(f"{number}: {_sentence(line, zone, counts=number in counting)}")
    return 0


@command.command("fix", help="Move a source's samples of a stretch by an offset, whenever they are read.")
@_FILE
@click.argument("source")
@click.option("--from", "start", required=True, help="First stored time (ISO 8601; the line's zone).")
@click.option("--to", "end", required=True, help="Stored time before which it ends.")
@click.option("--shift", required=True, help="Added to the stored times, such as '3600 s' or '-90 min'.")
@_BY
@_WHY
def fix(file: Path, source: str, start: str, end: str, shift: str, by: str, why: str) -> int:
    """Record the fix; readers follow at once."""
    config = load(file)
    _known(config, source)
    zone = ZoneInfo(config.file.line.zone)
    made = put_fix(
        config.folder,
        source,
        _time_ns(start, zone),
        _time_ns(end, zone),
        _shift_ns(shift),
        at_ns=time.time_ns(),
        by=by,
        why=why,
    )
    click.echo(
        f"fix {made.id}: samples of source {source} from {_shown(made.start_ns, zone)} to "
        f"{_shown(made.end_ns, zone)} are read {_moved(made.shift_ns)}; what is stored stays as it is"
    )
    return 0


@command.command("withdraw", help="Let a fix count no more; it stays in the record.")
@_FILE
@click.argument("number", type=int)
@_BY
@_WHY
def withdraw(file: Path, number: int, by: str, why: str) -> int:
    """Record that the fix counts no more; readers follow at once."""
    config = load(file)
    put_withdraw(config.folder, number, at_ns=time.time_ns(), by=by, why=why)
    click.echo(f"fix {number} counts no more; its samples are read at their stored times")
    return 0


@command.command("confirm", help="Say that this computer's clock is right now, where the line doubts it.")
@_FILE
@_BY
@_WHY
def confirm(file: Path, by: str, why: str) -> int:
    """Record what the clock shows; a line that waits for it seals again within a minute."""
    config = load(file)
    now_ns = time.time_ns()
    put_confirm(config.folder, at_ns=now_ns, by=by, why=why)
    click.echo(f"recorded: {_shown(now_ns, ZoneInfo(config.file.line.zone))} is the right time")
    return 0


def _known(config: LineConfig, source: str) -> None:
    names = [s.name for s in config.file.source]
    if source not in names:
        raise WrongInput(f"{config.path}: no source is named '{source}'; there are {', '.join(names)}")


def _shift_ns(text: str) -> int:
    shift_ms = quantity(text, "ms")
    if abs(shift_ms - round(shift_ms)) > 1e-6:
        raise WrongInput(f"--shift '{text}' is no whole number of milliseconds")
    return round(shift_ms) * _MS


def _time_ns(text: str, zone: ZoneInfo) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise WrongInput(f"'{text}' is no time; write one such as 2031-03-04T14:30") from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    return (moment - _1970) // timedelta(microseconds=1) * 1000


def _shown(time_ns: int, zone: ZoneInfo) -> str:
    return datetime.fromtimestamp(time_ns // NS, zone).isoformat(sep=" ", timespec="seconds")


def _moved(shift_ns: int) -> str:
    return f"{abs(shift_ns) / NS:g} s {'later' if shift_ns > 0 else 'earlier'}"


def _sentence(line: Mapping[str, Any], zone: ZoneInfo, *, counts: bool) -> str:
    said = f"{_shown(line['at_ns'], zone)}, {line['by']}: "
    if line["what"] == "confirm":
        return f"{said}this computer's clock is right ({line['why']})"
    if line["what"] == "withdraw":
        return f"{said}fix {line['fix']} withdrawn ({line['why']})"
    stretch = f"{_shown(line['start_ns'], zone)} to {_shown(line['end_ns'], zone)}"
    state = "" if counts else ", withdrawn"
    return f"{said}{line['source']}, {stretch}, {_moved(line['shift_ns'])}{state} ({line['why']})"
