"""``meltledger report``: the report of a trial, as a page and as PDF."""

from __future__ import annotations

import hashlib
import re
import time
from pathlib import Path
from typing import Final

import click

from historian.errors import MeltledgerError, StoreReadOnly
from meltledger import __version__
from meltledger.evaluating import evaluate
from meltledger.recordedline import RecordedLine, recorded_line
from trials.outcome import Outcome
from trials.photos import photo, small_copy
from trials.record import What
from trials.report import LANGUAGES, Made, System, Wanted, as_html, as_pdf, report_of, speech_of

_FORMATS: Final = ("html", "pdf")
_PHOTO_PX: Final = 800
_NOT_IN_NAMES: Final = re.compile(r"[^\w.-]+")


@click.command("report", help="Write the report of a trial: a page that needs nothing else, and a PDF.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--trial", "name", help="Which trial, by its name; the one under way when left out.")
@click.option("--to", type=click.Path(path_type=Path), default=Path(), help="Folder that it is written to.")
@click.option(
    "--language", type=click.Choice(LANGUAGES), default="en", show_default=True, help="Of the report."
)
@click.option(
    "--units",
    type=click.Choice([s.value for s in System]),
    default="metric",
    show_default=True,
    help="Metric on A4, or those of the United States on letter paper.",
)
@click.option(
    "--as", "formats", type=click.Choice(_FORMATS), multiple=True, help="Only this; both when left out."
)
@click.option("--site", default="", help="Who made the trial, for the first page.")
def command(
    file: Path, name: str | None, to: Path, language: str, units: str, formats: tuple[str, ...], site: str
) -> int:
    """Write it and say where; of a trial that is under way an interim report."""
    system = System(units)
    with recorded_line(file) as line:
        outcome = evaluate(line.config, line.record, line.trial(name), time.time_ns())
        wanted = Wanted(_photos(line, outcome), _made(line), site)
    report = report_of(outcome, speech_of(language, line.zone, system), wanted)
    for kind in formats or _FORMATS:
        us_paper = system is System.US
        body = as_html(report).encode() if kind == "html" else as_pdf(report, us_paper=us_paper)
        path = to / f"{file_name(outcome)}.{language}.{kind}"
        _write(path, body)
        click.echo(f"{path}: {len(body) / 1e6:.1f} MB")
    return 0


def file_name(outcome: Outcome) -> str:
    """Of a report, without an ending: the customer's code name and the trial's, never the customer's own.

    Example:
        >>> _NOT_IN_NAMES.sub("-", "Film / 110 µm").strip("-")
        'Film-110-µm'
    """
    trial = outcome.trial
    return "-".join(_NOT_IN_NAMES.sub("-", part).strip("-") for part in (trial.code_name, trial.name) if part)


def _photos(line: RecordedLine, outcome: Outcome) -> dict[str, bytes]:
    """Small copies of the photographs; one that is not there is named in the report."""
    folder = line.config.trials.parent / "photos"
    found = {}
    for entry in outcome.book.all_of(What.PHOTO):
        sha256 = str(entry.data["sha256"])
        try:
            found[sha256] = small_copy(photo(folder, sha256), _PHOTO_PX)
        except MeltledgerError as error:
            click.echo(f"meltledger: {error}", err=True)
    return found


def _made(line: RecordedLine) -> Made:
    of_line = hashlib.sha256(line.config.path.read_bytes()).hexdigest()
    return Made(__version__, None, of_line, line.config.folder.name)


def _write(path: Path, body: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(body)
    except OSError as error:
        raise StoreReadOnly(
            f"{path}: cannot be written ({error.strerror}); give another folder with --to"
        ) from error
