"""``meltledger trial``: open, close and list trials; add notes."""

from __future__ import annotations

import getpass
import time
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from historian.errors import WrongInput
from historian.frame import NS
from meltledger.config import load
from trials.record import TrialRecord

_FILE = click.argument("file", type=click.Path(path_type=Path))


@click.group("trial", help="Open, close and list trials; add notes.")
def command() -> None:
    """The verbs of a trial."""


@command.command("new", help="Open a trial on the line; the one under way must be closed first.")
@_FILE
@click.argument("name")
@click.option("--customer", default="", help="Whose material it is.")
@click.option("--code-name", default="", help="What walls and mails call the customer.")
def new(file: Path, name: str, customer: str, code_name: str) -> int:
    """Open a trial now."""
    config = load(file)
    with _record(config.trials) as record:
        under_way = record.under_way()
        if under_way is not None:
            raise WrongInput(
                f"trial '{under_way.name}' is under way; close it first: meltledger trial close {file}"
            )
        record.open_trial(name, customer=customer, code_name=code_name, start_ns=time.time_ns(), plan={})
    click.echo(f"trial '{name}' is under way")
    return 0


@command.command("close", help="Close the trial under way.")
@_FILE
def close(file: Path) -> int:
    """Close the trial now."""
    config = load(file)
    with _record(config.trials) as record:
        under_way = record.under_way()
        if under_way is None:
            raise WrongInput("no trial is under way; open one: meltledger trial new FILE NAME")
        record.close_trial(under_way.id, time.time_ns())
    click.echo(f"trial '{under_way.name}' is closed")
    return 0


@command.command("note", help="Add a note to the trial under way.")
@_FILE
@click.argument("text")
def note(file: Path, text: str) -> int:
    """Add a note now."""
    config = load(file)
    with _record(config.trials) as record:
        under_way = record.under_way()
        if under_way is None:
            raise WrongInput("no trial is under way; open one: meltledger trial new FILE NAME")
        record.note(under_way.id, time.time_ns(), getpass.getuser(), text)
    return 0


@command.command("list", help="List the line's trials.")
@_FILE
def list_(file: Path) -> int:
    """One line a trial, newest last."""
    config = load(file)
    zone = ZoneInfo(config.file.line.zone)
    with _record(config.trials) as record:
        for trial in record.trials():
            start = datetime.fromtimestamp(trial.start_ns // NS, zone)
            end = datetime.fromtimestamp(trial.end_ns // NS, zone) if trial.end_ns is not None else None
            until = f"to {end:%Y-%m-%d %H:%M}" if end else "under way"
            click.echo(f"{trial.name}: from {start:%Y-%m-%d %H:%M} {until}")
    return 0


class _record:  # noqa: N801 - reads as a clause: with _record(path) as record
    """The trial record of a line, closed at the end."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> TrialRecord:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        self._record = TrialRecord.open(self._path)
        return self._record

    def __exit__(self, *_: object) -> None:
        self._record.close()
