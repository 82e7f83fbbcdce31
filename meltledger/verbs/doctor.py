"""``meltledger doctor``: verify a store and mend it from what is there."""

from __future__ import annotations

import json
import time
from contextlib import nullcontext
from pathlib import Path

import click

from historian.archive.disk import HostDisk
from historian.care import Finding, Progress, judge, look, repair
from historian.errors import WrongInput
from meltledger.cli import FOUND
from meltledger.config import load
from meltledger.parts import is_written, only_writer
from meltledger.stores import check_embedded
from meltledger.verbs.backup import bar


@click.command("doctor", help="Verify a store's folder; with --repair, mend it from what is there.")
@click.argument("store", type=click.Path(path_type=Path))
@click.option(
    "--repair",
    "mend",
    is_flag=True,
    help="Mend what can be mended. Stop `meltledger run` first; damaged files go into the folder damaged.",
)
@click.option(
    "--line",
    type=click.Path(path_type=Path),
    help="The line's file: describes tags whose description was lost; with --repair.",
)
@click.option("--json", "as_json", is_flag=True, help="Machine output.")
def command(store: Path, mend: bool, line: Path | None, as_json: bool) -> int:
    """Print every finding; exit with 1 when there is one that is more than a note."""
    check_embedded(store, "doctor")
    if line is not None and not mend:
        raise WrongInput("--line is for --repair; without it nothing is changed")
    with bar("reading", hidden=as_json) as progress:
        if mend:
            found, deeds = _mended(store, line, progress)
        else:
            facts = look(store, progress)
            found, deeds = judge(facts, now_ns=time.time_ns(), is_written=is_written(store)), []
    if as_json:
        body = {"store": str(store), "findings": [f.to_json() for f in found], "done": deeds}
        click.echo(json.dumps(body))
    else:
        _tell(store, found, deeds, mend)
    return FOUND if any(not f.trouble.is_note for f in found) else 0


def _mended(store: Path, line: Path | None, progress: Progress) -> tuple[list[Finding], list[str]]:
    known = {tag.path: tag for tag in load(line).tags} if line else {}
    # What is not there is not to be made; ``repair`` says so.
    with only_writer(store) if store.is_dir() else nullcontext():
        return repair(store, HostDisk(), progress, now_ns=time.time_ns(), known=known)


def _tell(store: Path, found: list[Finding], deeds: list[str], mend: bool) -> None:
    for finding in found:
        kind = "note" if finding.trouble.is_note else finding.trouble
        click.echo(f"{kind}: {finding.where}: {finding.text}")
    for deed in deeds:
        click.echo(f"done: {deed}")
    wrong = sum(not f.trouble.is_note for f in found)
    notes = f"{len(found) - wrong} note{'s' if len(found) - wrong != 1 else ''}"
    if not wrong:
        click.echo(f"{store}: every check sum matches; {notes}")
        return
    click.echo(f"{store}: {wrong} thing{'s' if wrong != 1 else ''} wrong; {notes}")
    if not mend:
        click.echo("copy the folder away, stop `meltledger run`, then run this again with --repair")
