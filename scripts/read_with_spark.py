"""Reads Parquet files with Apache Spark as it comes, and says whether it reads what is in them.

Run by hand, with Java on the machine, in an environment of its own (Spark is no dependency of the project)::

    python -m venv /tmp/spark && /tmp/spark/bin/pip install pyspark pyarrow
    /tmp/spark/bin/python scripts/read_with_spark.py trial.parquet data/archive

Of a folder, every ``*.parquet`` below it is read, each alone. Ends with 1 when Spark refuses a file, or reads
something else in it than Apache Arrow does.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
from pyspark.errors import PySparkException
from pyspark.sql import DataFrame, SparkSession


def main(places: list[str]) -> int:
    """Read every file, print a line for each; gives the exit code."""
    files = [file for place in places for file in _files(Path(place))]
    if not files:
        print("name Parquet files, or folders of them", file=sys.stderr)
        return 2
    # Nothing is set that would change what Spark reads.
    spark = SparkSession.builder.master("local[1]").config("spark.ui.enabled", "false").getOrCreate()
    spark.sparkContext.setLogLevel("OFF")
    print(f"Spark {spark.version}, Arrow {pa.__version__}")
    faults = 0
    for file in files:
        fault = _fault(spark, file)
        faults += fault is not None
        print(f"{file}: {fault or 'read alike'}")
    spark.stop()
    return 1 if faults else 0


def _files(place: Path) -> Iterator[Path]:
    if place.is_dir():
        yield from sorted(place.rglob("*.parquet"))
    else:
        yield place


def _fault(spark: SparkSession, file: Path) -> str | None:
    """What is wrong with Spark's reading of a file; None when nothing is."""
    try:
        frame = spark.read.parquet(str(file))
        theirs = [tuple(row) for row in _comparable(frame).collect()]
    except PySparkException as error:
        return f"REFUSED: {str(error).splitlines()[0][:200]}"
    # A file's folders may give further columns; only its own are compared.
    table = pq.ParquetFile(file).read()
    ours = list(zip(*(_plain(table[name]) for name in table.column_names), strict=True))
    if len(theirs) != len(ours):
        return f"DIFFERS: {len(theirs)} rows, {len(ours)} are there"
    for number, (mine, other) in enumerate(zip(ours, theirs, strict=True), start=1):
        if len(other) < len(mine) or not all(map(_alike, mine, other)):
            return f"DIFFERS in row {number}: {other}, {mine} is there"
    return None


def _alike(mine: object, other: object) -> bool:
    return mine == other or (mine != mine and other != other)  # noqa: PLR0124 - both are no number


def _comparable(frame: DataFrame) -> DataFrame:
    """Every column as it is, times as whole microseconds."""
    return frame.selectExpr(
        *(f"unix_micros(`{n}`)" if kind == "timestamp" else f"`{n}`" for n, kind in frame.dtypes)
    )


def _plain(column: pa.ChunkedArray) -> list[Any]:
    if pa.types.is_timestamp(column.type):
        column = column.cast(pa.timestamp("us", tz="UTC"), safe=False).cast(pa.int64())
    values: list[Any] = column.to_pylist()
    return values


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
