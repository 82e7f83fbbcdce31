"""Brings a file of a machine's panel or a data logger into a store."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from historian.errors import WrongInput
from historian.exchange._keep import Keeper
from historian.exchange._plan import Plan, plan_columns
from historian.exchange._rejects import Rejects
from historian.exchange._samples import Reader, Samples
from historian.exchange._survey import Survey, data_rows, survey
from historian.exchange._table import Row, Table
from historian.exchange.mapping import CsvMapping
from historian.exchange.report import Hole, ImportReport
from historian.quality import NO_DATA
from historian.store import Store

Progress = Callable[[int, int], None]
"""Told how much is done, of how much; the unit is bytes read, the file counts twice."""

_HOLES_LISTED: Final = 100


def import_csv(
    store: Store,
    path: Path,
    mapping: CsvMapping,
    *,
    now_ns: int,
    dry_run: bool = False,
    rejects: Path | None = None,
    progress: Progress | None = None,
) -> ImportReport:
    """Bring the samples of a file into the store; what is there already stays as it is.

    A sample that the store holds with the same time, value and quality is not written again, so the same file
    twice changes nothing. Another value at the same time is written: the last write wins. The file is read
    twice, a part at a time: memory holds some 30 bytes a row, whatever the number of columns.

    Args:
        store: open for writing, unless this is a dry run.
        mapping: see ``historian.exchange.mapping``.
        now_ns: time of arrival for all samples, UTC nanoseconds.
        dry_run: find out what would be stored, and write nothing.
        rejects: where rejected lines are kept (beside the file as NAME.rejected.csv, when None).

    Raises:
        MappingWrong: the mapping does not fit the file or the store; every fault at once.
        WrongInput: the file cannot be read, or holds no data.
        StoreFull, StoreReadOnly: what was kept until then stays; the import can be started again.
    """
    kept = None if dry_run else rejects or path.with_suffix(".rejected.csv")
    bin_ = Rejects(kept, mapping.file.encoding)
    report = ImportReport(dry_run, ZoneInfo(mapping.time.zone))
    try:
        _bring(store, path, mapping, now_ns, bin_, report, progress or _silent)
    except BaseException:
        bin_.close(whole=False)
        raise
    written = bin_.close(whole=True)
    report.rejects, report.reject_count = tuple(bin_.listed), bin_.count
    report.rejects_path = str(written) if written else None
    return report


def _silent(done: int, total: int) -> None:
    """Nobody watches."""


def _bring(
    store: Store,
    path: Path,
    mapping: CsvMapping,
    now_ns: int,
    bin_: Rejects,
    report: ImportReport,
    progress: Progress,
) -> None:
    file = mapping.file
    with Table(path, file.encoding, file.separator) as table:
        plan, width = _plan(table, mapping, store)
    with Table(path, file.encoding, file.separator) as table:
        total = 2 * table.size
        rows = data_rows(table, file.first_line)
        found = survey(rows, mapping, plan, width, lambda: progress(table.done(), total))
    report.rows = len(found.time_ns)
    if not report.rows:
        raise WrongInput(f"{path}: no data from line {file.first_line} on; is first_line right?")
    _tell(report, found, plan, path, mapping)
    keeper = Keeper(store, plan, report, now_ns)
    reader = Reader(mapping, plan, found, bin_)
    with Table(path, file.encoding, file.separator) as table:
        rows = data_rows(_heads(table, file.first_line, bin_), file.first_line)
        for samples in reader.samples(rows, lambda: progress(table.size + table.done(), total)):
            keeper.keep(samples)
    if mapping.time.gap:
        _mark(keeper, found, plan, mapping)
    report.repeated, report.overwritten = reader.repeated, reader.overwritten
    progress(total, total)


def _plan(table: Table, mapping: CsvMapping, store: Store) -> tuple[Plan, int]:
    """The plan, and how many cells the header has."""
    heads = {}
    for row in table:
        if row.line >= mapping.file.first_line:
            break
        heads[row.line] = row.cells
    names = heads.get(mapping.file.header_line, [])
    if mapping.file.header_line and not names:
        raise WrongInput(f"{table.path}: line {mapping.file.header_line} is empty; is header_line right?")
    plan = plan_columns(mapping, names, heads.get(mapping.file.units_line, []), store.tags())
    return plan, len(names)


def _heads(table: Table, first_line: int, bin_: Rejects) -> Iterator[Row]:
    """The rows, those before the data told to the rejects."""
    for row in table:
        if row.line < first_line:
            bin_.head(row.text)
        yield row


def _tell(report: ImportReport, found: Survey, plan: Plan, path: Path, mapping: CsvMapping) -> None:
    """What the first pass found that a person should know."""
    holes = [hole for group in found.holes.values() for hole in group]
    report.hole_count = len(holes)
    report.holes = sorted(holes, key=lambda h: h.start_ns)[:_HOLES_LISTED]
    for first, last in found.doubtful[:_HOLES_LISTED]:
        report.notes.append(
            f"rows {first + 1} to {last + 1} of the data are in the hour that the clock passes twice, and "
            "their order does not say in which pass; they are put where they join best. Set fold in [time] "
            "to settle it"
        )
    if plan.left_out:
        report.notes.append(f"{path.name}: columns without a tag: {', '.join(plan.left_out)}")
    if found.unmapped:
        names = ", ".join(f"{name} ({n} rows)" for name, n in sorted(found.unmapped.items())[:50])
        report.notes.append(f"{path.name}: names without a tag: {names}")


def _mark(keeper: Keeper, found: Survey, plan: Plan, mapping: CsvMapping) -> None:
    """A sample "no data" at the start of each hole in which the store has nothing."""
    for group, holes in found.holes.items():
        columns = [group] if mapping.long else list(range(len(plan.columns)))
        for hole in holes:
            empty = keeper.empty(columns, hole.start_ns + 1, hole.end_ns)
            if empty:
                keeper.keep(_no_data(empty, hole))


def _no_data(columns: list[int], hole: Hole) -> Samples:
    n = len(columns)
    at_ns = min(hole.start_ns + hole.period_ns, hole.end_ns - 1)
    return Samples(
        np.array(columns, np.int32), np.full(n, at_ns, np.int64), np.full(n, np.nan),
        np.full(n, NO_DATA, np.uint32),
    )  # fmt: skip
