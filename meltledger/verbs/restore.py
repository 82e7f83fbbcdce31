"""``meltledger restore``: put a backup back into an empty folder, every byte checked."""

from __future__ import annotations

from pathlib import Path

import click

from historian.care import judge, look, restore
from meltledger.cli import FOUND
from meltledger.verbs.backup import bar


@click.command("restore", help="Put a backup back into a folder that is empty or not there.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("store", type=click.Path(path_type=Path))
def command(file: Path, store: Path) -> int:
    """Print what came back; exit with 1 when the doctor finds something wrong with it."""
    with bar("restoring") as progress:
        contents = restore(file, store, progress)
    wrong = [f for f in judge(look(store)) if not f.trouble.is_note]
    for finding in wrong:
        click.echo(f"{finding.trouble}: {finding.where}: {finding.text}")
    click.echo(f"{store}: {len(contents)} files restored; name this folder in the line's file, then start it")
    return FOUND if wrong else 0
