"""``meltledger backup``: copy a store into one file, also while it is written to."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from historian.care import Progress, back_up
from meltledger.stores import check_embedded


@click.command("backup", help="Copy a store's folder into one checked file, also while a line runs.")
@click.argument("store", type=click.Path(path_type=Path))
@click.argument("file", type=click.Path(path_type=Path))
def command(store: Path, file: Path) -> int:
    """Print what was copied."""
    check_embedded(store, "backup")
    with bar("copying") as progress:
        contents = back_up(store, file, progress)
    size = sum(fact.bytes for fact in contents.values())
    click.echo(f"{file}: {len(contents)} files, {size / 1e6:.1f} MB; every check sum matches")
    return 0


@contextmanager
def bar(label: str, *, hidden: bool = False) -> Iterator[Progress]:
    """A progress bar on standard error that is told bytes done and in all; none where nobody watches."""
    if hidden or not sys.stderr.isatty():
        yield lambda done, whole: None
        return
    with click.progressbar(length=1, label=label, file=sys.stderr) as shown:

        def progress(done: int, whole: int) -> None:
            shown.length = max(whole, 1)
            shown.update(done - shown.pos)

        yield progress
