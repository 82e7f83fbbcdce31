"""What the verbs of a trial share: their options, who says so, and how an entry is written down."""

from __future__ import annotations

import getpass
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import click

from meltledger.labels import named
from meltledger.recordedline import recorded_line
from meltledger.windows import time_ns_of
from trials.record import What
from trials.record.words import sentence_of

FILE = click.argument("file", type=click.Path(path_type=Path))
TRIAL = click.option("--trial", "name", help="Which trial, by its name; the one under way when left out.")
BY = click.option("--by", default="", help="Who says so; this computer's user when left out.")
AT = click.option("--at", help="When it was so (ISO 8601; the line's zone); now when left out.")
INSTEAD = click.option("--instead-of", type=int, help="Number of the entry that it corrects.")

_LABELLED: Final = {What.SAMPLE: ("name", "bag"), What.RESULT: ("sample",), What.BAG: ("name",)}
"""Keys for which a label may be scanned."""


def who(by: str) -> str:
    """Who says so."""
    return by.strip() or getpass.getuser()


def write(
    file: Path,
    name: str | None,
    what: What,
    data: Mapping[str, Any],
    at: str | None,
    by: str,
    instead_of: int | None,
) -> int:
    """Write an entry down and say it; codes of labels become the names that they stand for."""
    with recorded_line(file) as line:
        time_ns = time.time_ns() if at is None else time_ns_of(at, line.zone)
        trial = line.trial(name)
        told = {k: named(trial, v) if k in _LABELLED.get(what, ()) else v for k, v in data.items()}
        entry = line.record.write(trial.id, what, told, time_ns=time_ns, by=who(by), replaces=instead_of)
    click.echo(f"entry {entry.id}{', an addendum' if entry.addendum else ''}: {sentence_of(entry)}")
    return 0
