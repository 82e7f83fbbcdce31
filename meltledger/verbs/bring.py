"""``meltledger import``: bring a file of a panel or a data logger into a line's store."""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from historian.embedded import EmbeddedStore
from historian.errors import StoreReadOnly, WrongInput
from historian.exchange import ImportReport, guess_mapping, import_csv, load_mapping
from historian.exchange.importing import Progress
from meltledger.cli import FOUND
from meltledger.config import load


@click.command("import", help="Bring a CSV file of a panel or a logger into the store of a line.")
@click.argument("line", type=click.Path(path_type=Path))
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--mapping", type=click.Path(path_type=Path), help="The mapping file: which column is which tag."
)
@click.option(
    "--guess",
    type=click.Path(path_type=Path),
    help="Write a proposed mapping into this file, with what to confirm, and store nothing; - prints it.",
)
@click.option("--dry-run", is_flag=True, help="Say what would be stored, and store nothing.")
@click.option(
    "--rejects",
    type=click.Path(path_type=Path),
    help="Where rejected lines go (NAME.rejected.csv beside FILE).",
)
@click.option("--json", "as_json", is_flag=True, help="Machine output.")
def command(
    line: Path,
    file: Path,
    mapping: Path | None,
    guess: Path | None,
    dry_run: bool,
    rejects: Path | None,
    as_json: bool,
) -> int:
    """Print what was or would be stored; exit with 1 when a row did not fit."""
    if (mapping is None) == (guess is None):
        raise WrongInput("give either --mapping, to import, or --guess, to have a mapping proposed")
    config = load(line)
    if guess is not None:
        _propose(file, guess, config.file.line.zone)
        return 0
    read = load_mapping(mapping or Path())
    with _store(config.folder, dry_run) as store, bar(file.name, hidden=as_json) as progress:
        report = import_csv(
            store,
            file,
            read,
            now_ns=time.time_ns(),
            dry_run=dry_run,
            rejects=rejects,
            progress=progress,
        )
    _tell(report, as_json)
    return FOUND if report.reject_count else 0


def _propose(file: Path, out: Path, zone: str) -> None:
    found = guess_mapping(file, zone=zone)
    if str(out) == "-":
        click.echo(found.text)
        return
    try:
        with out.open("x", encoding="utf-8") as written:
            written.write(found.text)
    except FileExistsError as error:
        raise WrongInput(f"{out}: is there already and may hold what was confirmed; name another") from error
    except OSError as error:
        raise StoreReadOnly(f"{out}: cannot be written ({error}); name another file") from error
    for doubt in found.doubts:
        click.echo(f"confirm: {doubt}")
    click.echo(f"{out}: mapping of {len(found.mapping.column)} columns; mend it, then try it with --dry-run")


@contextmanager
def _store(folder: Path, dry_run: bool) -> Iterator[EmbeddedStore]:
    """The line's store; for a dry run on a line that has none yet, an empty one that goes away."""
    if not dry_run:
        store = EmbeddedStore.open(folder)
    elif (folder / "recent.db").exists():
        store = EmbeddedStore.open(folder, mode="read")
    else:
        with tempfile.TemporaryDirectory() as empty:
            store = EmbeddedStore.open(Path(empty))
            try:
                yield store
            finally:
                store.close()
        return
    try:
        yield store
    finally:
        store.close()


@contextmanager
def bar(label: str, *, hidden: bool) -> Iterator[Progress]:
    """A progress bar on standard error; none where nobody watches."""
    if hidden or not sys.stderr.isatty():
        yield lambda done, total: None
        return
    with click.progressbar(length=1, label=label, file=sys.stderr) as shown:

        def progress(done: int, total: int) -> None:
            shown.length = max(total, 1)
            shown.update(done - shown.pos)

        yield progress


def _tell(report: ImportReport, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(report.to_json(), ensure_ascii=False))
        return
    for text in report.lines():
        click.echo(text)
    if report.dry_run:
        click.echo("dry run: nothing was stored")
