"""Writes a window of a store as Parquet that other programs read as it is.

Only types and encodings that pandas, DuckDB, Polars and Spark all read by default: Spark refuses a time stamp
in nanoseconds, so the time stands there in microseconds and, exact, as a plain number.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from historian.exchange._window import Window, lots, side_by_side, tags_of
from historian.exchange.exporting import Progress, told, whole
from historian.frame import Series
from historian.store import Store
from historian.tags import Tag

TAGS_KEY: Final = b"meltledger.tags"
WINDOW_KEY: Final = b"meltledger.window"
_TIMES: Final = ("time", "time_ns")
_QUALITY: Final = ".quality"


def export_parquet(
    store: Store,
    path: Path,
    window: Window,
    *,
    form: Literal["wide", "long"] = "long",
    progress: Progress | None = None,
) -> int:
    """Write a window as Parquet (zstd); gives the number of samples.

    Long: ``time`` (timestamp, UTC, in whole microseconds, cut), ``time_ns`` (int64, the exact UTC nanoseconds
    since 1970), ``tag`` (string), ``value`` (float64; null where there is none), ``quality`` (uint32, OPC UA
    StatusCode). Wide: ``time`` and ``time_ns``, then for each tag a column by its path and one with
    ``.quality`` behind it, null where the tag has no sample at that time. The file's metadata holds the tags
    (``meltledger.tags``: JSON, unit and all) and the window; a wide field has its unit besides.

    Raises:
        UnknownTag: a path that the store does not hold.
        StoreReadOnly: the file cannot be written.
    """
    tags = tags_of(store, window)
    schema = _schema(tags, window, form)
    make = _long_tables if form == "long" else _wide_tables
    count = 0
    with whole(path) as part, _writer(part, schema) as writer:
        for found in lots(store, window):
            count += sum(len(s) for s in found.values())
            for table in make(found, tags, schema):
                writer.write_table(table)
            told(progress, window, found)
    return count


def _writer(path: Path, schema: Any) -> Any:
    names = schema.names
    coded = ["tag", "quality", *(n for n in names if n.endswith(_QUALITY))]
    return pq.ParquetWriter(
        path,
        schema,
        compression="zstd",
        use_dictionary=[n for n in coded if n in names],
        column_encoding=dict.fromkeys(_TIMES, "DELTA_BINARY_PACKED"),
    )


def _schema(tags: list[Tag], window: Window, form: str) -> Any:
    fields = [
        pa.field("time", pa.timestamp("us", tz="UTC"), nullable=False),
        pa.field("time_ns", pa.int64(), nullable=False),
    ]
    if form == "long":
        fields.append(pa.field("tag", pa.string(), nullable=False))
        fields.append(pa.field("value", pa.float64()))
        fields.append(pa.field("quality", pa.uint32(), nullable=False))
    else:
        for one in tags:
            note = {"unit": one.unit, "reference": one.reference, "text": one.text}
            fields.append(pa.field(one.path, pa.float64(), metadata=note))
            fields.append(pa.field(f"{one.path}{_QUALITY}", pa.uint32()))
    said = {
        "start_ns": window.start_ns,
        "end_ns": window.end_ns,
        "interval_ns": window.interval_ns,
        "aggregate": str(window.aggregate) if window.aggregate else "raw",
    }
    listed = json.dumps([t.to_json() for t in tags], ensure_ascii=False)
    return pa.schema(fields, metadata={TAGS_KEY: listed.encode(), WINDOW_KEY: json.dumps(said).encode()})


def _times(time_ns: NDArray[np.int64]) -> list[Any]:
    """The columns of the time: whole microseconds, cut towards the past, and the exact nanoseconds."""
    return [pa.array(time_ns // 1000).cast(pa.timestamp("us", tz="UTC")), pa.array(time_ns)]


def _long_tables(found: dict[str, Series], tags: list[Tag], schema: Any) -> Iterator[Any]:
    series = [found[t.path] for t in tags]
    time_ns = np.concatenate([s.time_ns for s in series])
    which = np.repeat(np.arange(len(series), dtype=np.int32), [len(s) for s in series])
    value = np.concatenate([s.value for s in series])
    quality = np.concatenate([s.quality for s in series])
    order = np.lexsort((which, time_ns))
    names = pa.array([t.path for t in tags], pa.string())
    columns = [
        *_times(time_ns[order]),
        pa.DictionaryArray.from_arrays(pa.array(which[order]), names).cast(pa.string()),
        pa.array(value[order], mask=np.isnan(value[order])),
        pa.array(quality[order]),
    ]
    yield pa.Table.from_arrays(columns, schema=schema)


def _wide_tables(found: dict[str, Series], tags: list[Tag], schema: Any) -> Iterator[Any]:
    for grid in side_by_side(found, [t.path for t in tags]):
        columns = _times(grid.time_ns)
        for k in range(len(tags)):
            columns.append(pa.array(grid.value[:, k], mask=np.isnan(grid.value[:, k])))
            columns.append(pa.array(grid.quality[:, k], mask=~grid.present[:, k]))
        yield pa.Table.from_arrays(columns, schema=schema)
