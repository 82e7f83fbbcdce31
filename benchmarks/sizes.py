"""What a sample takes on disk when it is sealed, with its arrival and its quality."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from benchmarks.figure import Figure
from benchmarks.plain_table import PlainTable
from benchmarks.prepared import Prepared, size_of
from historian.archive.writer import load_manifest

SCANNED_BYTES = 0.8
OWN_STAMPS_BYTES = 2.1


def figures(data: Prepared) -> Iterator[Figure]:
    """Bytes a sample: tags that were scanned together, and tags with stamps of their own."""
    with closing(PlainTable(data.plain)) as table:
        plain = size_of(data.plain.parent, "plain.db") / table.count()
    # What a file needs besides its samples weighs more where there are few.
    scanned = SCANNED_BYTES * (1.2 if data.quick else 1.0)
    for name, folder, limit in (
        ("scanned together", data.store, scanned),
        ("stamps of their own", data.own_stamps, OWN_STAMPS_BYTES),
    ):
        ours = size_of(folder / "archive") / _samples(folder)
        rollups = size_of(folder / "rollups") / _samples(folder)
        yield Figure(
            f"sealed, bytes a sample, {name}",
            ours,
            plain,
            plain / limit,
            less_is_better=True,
            quick=data.quick,
            limit=limit,
            beside={"rollups": rollups},
        )


def _samples(folder: Path) -> int:
    manifest = load_manifest(folder / "archive")
    if manifest is None:
        raise RuntimeError(f"{folder}: nothing is sealed")
    return sum(s.samples for s in manifest.segments)
