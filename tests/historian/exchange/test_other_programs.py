"""Exported Parquet is read by pandas, DuckDB and Polars as it is, and holds nothing that Spark refuses."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import polars as pl
import pyarrow.parquet as pq
import pytest

from historian import EmbeddedStore, Frame, Tag
from historian.aggregates import Aggregate
from historian.archive.writer import ArchiveWriter
from historian.exchange import Window, export_parquet
from historian.frame import NS
from historian.quality import RANGE_EXCEEDED, SENSOR_FAILURE

T0 = 1_780_000_000 * NS
PATHS = ("filter.inlet.pressure.pv", "extruder.melt.temp.pv", "lab.noise.pv")
WINDOW = Window(PATHS, T0, T0 + 3600 * NS)

Row = tuple[int, str, float | None, int]

# What Spark 4.3 reads as it comes was found with scripts/read_with_spark.py, type by type. What it refuses:
# TIMESTAMP(NANOS), "Illegal Parquet type" in its ParquetToSparkSchemaConverter (SPARK-40819, SPARK-44988).
SPARK_TYPES = {
    "None",
    "String",
    "Decimal(precision=9, scale=1)",
    "Int(bitWidth=32, isSigned=false)",
    "Timestamp(isAdjustedToUTC=true, timeUnit=milliseconds, is_from_converted_type=false, force_set_converted_type=false)",
    "Timestamp(isAdjustedToUTC=true, timeUnit=microseconds, is_from_converted_type=false, force_set_converted_type=false)",
}
SPARK_PHYSICAL = {"INT32", "INT64", "FLOAT", "DOUBLE", "BYTE_ARRAY"}
SPARK_ENCODINGS = {"PLAIN", "RLE", "RLE_DICTIONARY", "DELTA_BINARY_PACKED", "BYTE_STREAM_SPLIT"}


@pytest.fixture
def store(tmp_path: Path) -> EmbeddedStore:
    """Stamps in whole seconds, stamps with a rest in nanoseconds, values of full precision, bad samples."""
    store = EmbeddedStore.open(tmp_path / "store")
    store.register([Tag(PATHS[0], "bar", reference="gauge"), Tag(PATHS[1], "Cel"), Tag(PATHS[2], "1")])
    n = 40
    times = T0 + np.arange(n) * NS
    quality = np.zeros(n, np.uint32)
    quality[5], quality[9] = SENSOR_FAILURE, RANGE_EXCEEDED
    noise = np.random.default_rng(5).normal(size=n)
    pressure = np.where(quality == SENSOR_FAILURE, np.nan, np.round(90 + noise, 1))
    store.append(
        Frame.of([1] * n, times, pressure, quality, arrival_ns=T0),
        Frame.of([2] * n, times + 123_456_789, 200 + np.arange(n) / 10, [0] * n, arrival_ns=T0),
        Frame.of([3] * n, times, noise, [0] * n, arrival_ns=T0),
    )
    return store


def kept(store: EmbeddedStore) -> list[Row]:
    """Every sample of the window as (time, tag, value, quality), in order of time, then as the tags are named."""
    found = store.read(PATHS, WINDOW.start_ns, WINDOW.end_ns)
    rows = [
        (t, place, path, None if np.isnan(v) else v, q)
        for place, path in enumerate(PATHS)
        for t, v, q in zip(*(c.tolist() for c in (found[path].time_ns, found[path].value, found[path].quality)), strict=True)
    ]  # fmt: skip
    return [(t, path, v, q) for t, _, path, v, q in sorted(rows)]


def with_pandas(path: Path) -> list[Row]:
    frame = pd.read_parquet(path)
    assert str(frame["time"].dtype) == "datetime64[us, UTC]"
    assert (frame["time"].astype("int64") == frame["time_ns"] // 1000).all()
    columns = (frame["time_ns"], frame["tag"], frame["value"], frame["quality"])
    return [
        (t, g, None if np.isnan(v) else v, q)
        for t, g, v, q in zip(*(c.tolist() for c in columns), strict=True)
    ]


def with_duckdb(path: Path) -> list[Row]:
    with duckdb.connect() as db:
        kinds = db.sql(f"describe select * from '{path}'").fetchall()
        assert [k[1] for k in kinds] == [
            "TIMESTAMP WITH TIME ZONE",
            "BIGINT",
            "VARCHAR",
            "DOUBLE",
            "UINTEGER",
        ]
        assert db.sql(
            f"select count(*) from '{path}' where epoch_us(time) <> time_ns // 1000"
        ).fetchall() == [(0,)]
        return db.sql(f"select time_ns, tag, value, quality from '{path}'").fetchall()


def with_polars(path: Path) -> list[Row]:
    frame = pl.read_parquet(path)
    assert frame.schema["time"] == pl.Datetime("us", "UTC")
    assert (frame["time"].dt.epoch("us") == frame["time_ns"] // 1000).all()
    return frame.select("time_ns", "tag", "value", "quality").rows()


@pytest.mark.parametrize("read", [with_pandas, with_duckdb, with_polars])
def test_the_long_form_is_read_whole(
    store: EmbeddedStore, tmp_path: Path, read: Callable[[Path], list[Row]]
) -> None:
    path = tmp_path / "long.parquet"
    assert export_parquet(store, path, WINDOW) == 120
    assert read(path) == kept(store)


def test_the_wide_form_is_read_alike(store: EmbeddedStore, tmp_path: Path) -> None:
    path = tmp_path / "wide.parquet"
    export_parquet(store, path, WINDOW, form="wide")
    by_polars = pl.read_parquet(path).rows()
    with duckdb.connect() as db:
        by_duckdb = db.sql(f"select * from '{path}'").fetchall()
    assert [r[1:] for r in by_polars] == [r[1:] for r in by_duckdb]
    frame = pd.read_parquet(path).astype(object)
    by_pandas = [tuple(None if pd.isna(v) else v for v in r[1:]) for r in frame.itertuples(index=False)]
    assert by_pandas == [r[1:] for r in by_polars]
    said = {
        (row[1], PATHS[k]): (row[2 + 2 * k], row[3 + 2 * k])
        for row in by_polars for k in range(3) if row[3 + 2 * k] is not None
    }  # fmt: skip
    assert said == {(t, path): (v, q) for t, path, v, q in kept(store)}
    with duckdb.connect() as db:
        mean = db.sql(f"select avg(\"{PATHS[1]}\") from '{path}'").fetchall()
    assert mean == [(pytest.approx(201.95),)]


@pytest.mark.parametrize("form", ["long", "wide"])
@pytest.mark.parametrize("kind", [None, Aggregate.TIME_AVERAGE, Aggregate.WORST_QUALITY])
def test_nothing_that_spark_refuses_is_in_an_export(
    store: EmbeddedStore, tmp_path: Path, form: Any, kind: Aggregate | None
) -> None:
    window = Window(PATHS, T0, T0 + 60 * NS, 10 * NS if kind else 0, kind)
    export_parquet(store, tmp_path / "x.parquet", window, form=form)
    assert not refused(tmp_path / "x.parquet")


def test_the_list_of_types_finds_a_time_stamp_in_nanoseconds(tmp_path: Path) -> None:
    pd.DataFrame({"time": pd.to_datetime([1], unit="ns", utc=True)}).to_parquet(tmp_path / "x.parquet")
    assert any("nanoseconds" in said for said in refused(tmp_path / "x.parquet"))


def test_sealed_segments_are_read_by_each_file(store: EmbeddedStore, tmp_path: Path) -> None:
    tags = {t.id: t for t in store.tags().values()}
    writer = ArchiveWriter.open(tmp_path / "archive", "line 1")
    writer.seal(store.frames(), tags, up_to_seq=store.last_number())
    files = [tmp_path / "archive" / f.path for f in writer.manifest.files()]
    assert {f.stem.rsplit("-", 1)[-1] for f in files} >= {"long", "frames"}
    for file in files:
        ours = [tuple(r.values()) for r in pq.ParquetFile(file).read().to_pylist()]
        assert pl.read_parquet(file, hive_partitioning=False).rows()
        with duckdb.connect() as db:
            theirs = db.sql(f"select * from read_parquet('{file}', hive_partitioning = false)").fetchall()
        at = [k for k, f in enumerate(pq.read_schema(file)) if "timestamp" not in str(f.type)]
        assert [[r[k] for k in at] for r in theirs] == [[r[k] for k in at] for r in ours]


def test_the_lines_in_the_documentation_run(
    store: EmbeddedStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = (Path(__file__).resolve().parents[3] / "docs" / "import-export.md").read_text(encoding="utf-8")
    lines = page.partition("```python\n")[2].partition("```")[0].splitlines()
    assert sum("spark" in line for line in lines) == 1
    export_parquet(store, tmp_path / "day.parquet", WINDOW)
    monkeypatch.chdir(tmp_path)
    said: dict[str, Any] = {}
    exec("\n".join(line for line in lines if "spark" not in line), said)
    assert len(said["frame"]) == 120
    good = [v for _, path, v, q in kept(store) if path == PATHS[0] and q == 0]
    assert dict(said["rows"])[PATHS[0]] == pytest.approx(float(np.mean(np.array(good, float))))


def refused(path: Path) -> set[str]:
    """What of a file is not on the list of what Spark reads."""
    file = pq.ParquetFile(path)
    columns = [file.schema.column(k) for k in range(len(file.schema))]
    types = {str(c.logical_type) for c in columns} - SPARK_TYPES
    physical = {c.physical_type for c in columns} - SPARK_PHYSICAL
    chunks = [
        file.metadata.row_group(g).column(k)
        for g in range(file.metadata.num_row_groups)
        for k in range(file.metadata.num_columns)
    ]
    return types | physical | {e for c in chunks for e in c.encodings} - SPARK_ENCODINGS
