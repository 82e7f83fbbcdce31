"""Puts a trial's package together: what the record says, the samples of its window, and nothing else."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from historian.errors import StoreReadOnly, WrongInput
from historian.exchange import Window, export_parquet
from historian.exchange.exporting import whole
from historian.frame import NS
from historian.store import Store
from meltledger.evaluating import evaluate
from meltledger.recordedline import RecordedLine
from meltledger.sealing import seal_holds
from meltledger.stores import store_or_none_yet
from meltledger.workbook import Sheet, write_workbook
from trials.outcome import Outcome
from trials.package import SUMS, settled_workbook, write_package
from trials.record import Entry, Trial, What, book_of
from trials.record.book import Book
from trials.record.travel import to_json
from trials.record.words import sentence_of
from trials.results import results_of
from trials.seal import Seal

_ABOUT: Final = """\
{name}: {start} to {end}

record.json      all that was written down, by whom and when, also what was corrected
record.xlsx      the same as tables, and the figures of each operating point; times in UTC
samples.parquet  every sample of the trial's time, as the machines gave them: time (UTC), time_ns, tag, value,
                 quality (OPC UA status code); units stand in the file's metadata
seal.json        the hashes with which record and samples were sealed
photos/          photographs, without where they were taken
report*          the report, where one was made

Whether all arrived as it was sent: sha256sum -c {sums}
Seal: {seal}
{held}
"""


def pack(line: RecordedLine, trial: Trial, folder: Path, reports: Sequence[Path]) -> Path:
    """Write a trial's package into a folder; gives the file. The same trial gives the same bytes.

    Args:
        reports: of the trial, as they were written.

    Raises:
        WrongInput: the trial is not sealed, or a report cannot be read.
        StoreReadOnly: the folder cannot be written.
    """
    name = f"{trial.code_name or 'trial'}-{trial.id}"
    path = folder / f"{name}.zip"
    with store_or_none_yet(line.config) as store, TemporaryDirectory() as beside:
        seal, changed = seal_holds(line.record, store, trial)
        members = _written(line, trial, store, seal, Path(beside))
        members |= _reports(reports)
        about = Path(beside) / "ABOUT.txt"
        about.write_text(_about(name, trial, seal, changed), encoding="utf-8")
        members["ABOUT.txt"] = about
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreReadOnly(f"{folder}: cannot be made ({error}); name another folder") from error
        with whole(path) as part:
            write_package(part, name, members)
    return path


def _written(line: RecordedLine, trial: Trial, store: Store, seal: Seal, beside: Path) -> dict[str, Path]:
    """Name in the package → file."""
    entries = line.record.entries(trial.id)
    book = book_of(entries)
    found = {n: beside / n for n in ("record.json", "record.xlsx", "samples.parquet", "seal.json")}
    _json(found["record.json"], to_json(trial, entries))
    _json(found["seal.json"], seal.to_json())
    outcome = evaluate(line.config, line.record, trial, trial.end_ns or trial.start_ns)
    write_workbook(found["record.xlsx"], {**_sheets(book), "figures": _figures(outcome)})
    found["record.xlsx"].write_bytes(settled_workbook(found["record.xlsx"].read_bytes()))
    # Only tags of which something was sealed: the others may be of another trial.
    window = Window(tuple(sorted(seal.tags)), trial.start_ns, trial.end_ns or trial.start_ns)
    export_parquet(store, found["samples.parquet"], window)
    for entry in book.all_of(What.PHOTO):
        with suppress(StopIteration):
            file = next((line.config.trials.parent / "photos").glob(f"{entry.data['sha256']}.*"))
            found[f"photos/{entry.id}{file.suffix}"] = file
    return found


def _reports(files: Sequence[Path]) -> dict[str, Path]:
    for file in files:
        if not file.is_file():
            raise WrongInput(f"{file}: there is no such report; write it first: meltledger report")
    kinds = [f.suffix.lower() for f in files]
    alone = len(set(kinds)) == len(kinds)
    return {
        f"report{kind}" if alone else f"report-{n}{kind}": file
        for n, (file, kind) in enumerate(zip(files, kinds, strict=True), start=1)
    }


def _about(name: str, trial: Trial, seal: Seal, changed: Sequence[str]) -> str:
    end_ns = trial.end_ns or trial.start_ns
    held = "\n".join(["Since it was sealed:", *changed]) if changed else "All is as it was sealed."
    start, end = (datetime.fromtimestamp(t // NS, UTC).isoformat() for t in (trial.start_ns, end_ns))
    return _ABOUT.format(name=name, start=start, end=end, sums=SUMS, seal=seal.sha256, held=held)


def _sheets(book: Book) -> dict[str, Sheet]:
    entries = Sheet(
        [
            "number",
            "when it was so (UTC)",
            "when it was written (UTC)",
            "by",
            "form",
            "what it says",
            "addendum",
        ],
        [_row(e) for e in book.standing],
    )
    results = Sheet(
        ["sample", "what", "of", "less than", "value", "unit", "replicates", "scatter", "condition"],
        [
            (r.sample, r.what, str(r.of), r.less_than, r.value, r.unit, r.n, r.scatter, r.condition)
            for r in results_of(book.standing)
        ],
    )
    before = [(new, old) for new, olds in sorted(book.corrected.items()) for old in olds]
    old = Sheet(
        ["number", "corrected by", "taken back because", "by", "what it said"],
        [
            *((o.id, new, None, o.by, sentence_of(o)) for new, o in before),
            *((e.id, None, why, e.by, sentence_of(e)) for e, why in book.withdrawn),
        ],
    )
    return {"record": entries, "laboratory": results, "corrected": old}


def _figures(outcome: Outcome) -> Sheet:
    """Every figure of every operating point, or why it has no value."""
    heads = ["operating point", "figure", "value", "unit", "expanded uncertainty, k = 2", "not known because"]
    rows = [
        (point.name, f.name, f.value, f.unit, f.expanded, f.absent, f.method)
        for point in outcome.points
        for f in point.figures.figures
    ]
    return Sheet([*heads, "method"], rows)


def _row(entry: Entry) -> tuple[int, datetime, datetime, str, str, str, bool]:
    so, written = (datetime.fromtimestamp(t // NS, UTC) for t in (entry.time_ns, entry.entered_ns))
    return entry.id, so, written, entry.by, str(entry.what), sentence_of(entry), entry.addendum


def _json(path: Path, told: object) -> None:
    path.write_text(json.dumps(told, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
