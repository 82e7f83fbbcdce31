"""``meltledger import``: bring a file of a panel or a data logger into a line's store."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import click

from historian.embedded.upkeep import Upkeep
from historian.errors import StoreReadOnly, WrongInput
from historian.exchange import ImportReport, guess_mapping, import_csv, load_mapping
from historian.exchange.importing import Progress
from historian.retention import Keep
from historian.store import Store
from meltledger.bringing_alarms import bring_alarms
from meltledger.cli import FOUND
from meltledger.config import LineConfig, load
from meltledger.parts import only_writer
from meltledger.stores import is_embedded, left_waiting, open_store, store_or_none_yet


@click.command("import", help="Bring a CSV file of a panel or a logger into the store of a line.")
@click.argument("line", type=click.Path(path_type=Path))
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--alarms",
    type=click.Path(path_type=Path),
    help="A panel's list of alarms, in the place of FILE: it goes into the journal, beside the samples.",
)
@click.option(
    "--origin",
    default="panel",
    show_default=True,
    help="With --alarms: the name under which the list is kept; not that of a source of the line.",
)
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
    file: Path | None,
    alarms: Path | None,
    origin: str,
    mapping: Path | None,
    guess: Path | None,
    dry_run: bool,
    rejects: Path | None,
    as_json: bool,
) -> int:
    """Print what was or would be stored; exit with 1 when a row did not fit."""
    if alarms is not None:
        if file is not None:
            raise WrongInput(f"give either a file of samples ({file}) or --alarms {alarms}, not both")
        return bring_alarms(load(line), alarms, origin, mapping, guess, rejects, dry_run, as_json)
    if file is None:
        raise WrongInput("give the FILE of a panel or a logger, or a list of alarms with --alarms")
    if (mapping is None) == (guess is None):
        raise WrongInput("give either --mapping, to import, or --guess, to have a mapping proposed")
    config = load(line)
    if guess is not None:
        _propose(file, guess, config.file.line.zone)
        return 0
    read = load_mapping(mapping or Path())
    with _store(config, dry_run) as store, bar(file.name, hidden=as_json) as progress:
        report = import_csv(
            store,
            file,
            read,
            now_ns=time.time_ns(),
            dry_run=dry_run,
            rejects=rejects,
            progress=progress,
        )
        if not dry_run and report.new + report.replaced:
            _seal(config)
    _note_short_keep(config, report)
    _tell(report, as_json)
    if not dry_run and (waits := left_waiting(config)):
        click.echo(waits, err=True)
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
    columns = len(found.mapping.column)
    click.echo(
        f"{out}: a proposal for {columns} column{'s' * (columns != 1)}. Mend what is to be confirmed, then "
        f"try it: --mapping {out} --dry-run"
    )


@contextmanager
def _store(config: LineConfig, dry_run: bool) -> Iterator[Store]:
    """The line's store, held against other writers; for a dry run one to read, empty where there is none yet.

    Raises:
        WrongInput: another process writes there, or the line is simulated.
    """
    with ExitStack() as stack:
        if dry_run:
            store = stack.enter_context(store_or_none_yet(config))
        else:
            stack.enter_context(only_writer(config.folder))
            store = stack.enter_context(closing(open_store(config, patient=True)))
        _never_beside_simulated(config, store)
        yield store


def _seal(config: LineConfig) -> None:
    """Put what came in where old samples are kept, small and fast to read; nothing is let go of here."""
    if is_embedded(config):
        with closing(Upkeep.open(config.folder, config.facts.name, Keep())) as upkeep:
            upkeep.step(time.time_ns(), seal_all=True)


def _note_short_keep(config: LineConfig, report: ImportReport) -> None:
    """Say when samples are older than the line's file keeps them."""
    first_ns = min((t.first_ns for t in report.tags.values() if t.samples), default=None)
    if config.keep.raw_ns is None or first_ns is None or first_ns >= time.time_ns() - config.keep.raw_ns:
        return
    report.notes.append(
        f'some samples are older than store.keep_raw = "{config.file.store.keep_raw}" in {config.path.name}: '
        "the next `meltledger run` lets go of those outside of a trial; keep them longer there"
    )


def _never_beside_simulated(config: LineConfig, store: Store) -> None:
    made_up = next((t.path for t in store.tags().values() if t.simulated), "")
    if config.simulated or made_up:
        raise WrongInput(
            f"{config.path}: the line is simulated, and a machine's file is not: the two are never mixed in "
            f"{config.folder}. Import into a line with a folder of its own"
        )


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
