"""What a sample takes on disk when it is sealed, with its arrival and its quality."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Final

from benchmarks.answers import same_rows
from benchmarks.figure import Figure
from benchmarks.influx_beside import INFLUX, InfluxBeside
from benchmarks.plain_table import PlainTable
from benchmarks.prepared import Prepared, size_of
from benchmarks.reference_set import START_NS
from historian.archive.manifest import HOUR_NS, Kind
from historian.archive.writer import load_manifest

SCANNED_BYTES: Final = 0.8
OWN_STAMPS_BYTES: Final = 2.1


def figures(data: Prepared, influx: InfluxBeside | None) -> Iterator[Figure]:
    """Bytes a sample: tags that were scanned together, and tags with stamps of their own."""
    with closing(PlainTable(data.plain)) as table:
        every, first_hour = table.count(), table.count(START_NS, START_NS + HOUR_NS)
    plain = size_of(data.plain.parent, data.plain.name) / every
    same_rows([_sealed(data.store, Kind.WIDE)], [every], "samples in wide files")
    beside = {"rollups": size_of(data.store / "rollups") / every}
    if influx is not None:
        beside[INFLUX] = influx.size() / every
    # What a file needs besides its samples weighs more where there are few.
    limit = SCANNED_BYTES * (1.2 if data.quick else 1.0)
    yield _figure("scanned together", data.store, every, plain, limit, data.quick, beside)
    own = _sealed(data.own_stamps, Kind.LONG)
    # Jitter moves a sample over the hour's edge now and then.
    if abs(own - first_hour) > 0.001 * first_hour:
        raise RuntimeError(f"{data.own_stamps}: {own} samples in long files, not {first_hour}")
    beside = {"rollups": size_of(data.own_stamps / "rollups") / own}
    yield _figure(
        "an hour with stamps of their own", data.own_stamps, own, plain, OWN_STAMPS_BYTES, data.quick, beside
    )


def _figure(
    what: str, folder: Path, samples: int, plain: float, limit: float, quick: bool, beside: dict[str, float]
) -> Figure:
    ours = size_of(folder / "archive") / samples
    name = f"sealed, bytes a sample, {what}"
    return Figure(name, ours, plain, plain / limit, True, quick, limit, beside)


def _sealed(folder: Path, kind: Kind) -> int:
    """How many samples stand in files of a kind."""
    manifest = load_manifest(folder / "archive")
    if manifest is None:
        raise RuntimeError(f"{folder}: nothing is sealed")
    return sum(f.samples for s in manifest.segments for f in s.of_kind(kind))
