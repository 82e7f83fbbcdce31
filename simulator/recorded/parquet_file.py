"""Reads recorded data from a Parquet file in the long form: a row a sample.

Columns: ``tag`` (or ``path``), ``time`` (a timestamp, without a zone UTC) or ``time_ns`` (whole nanoseconds),
``value``, and where wanted ``quality`` (OPC UA StatusCodes; without it a value is good) and ``unit``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from historian.catalogue import canonical_tag, meaning_of
from historian.errors import MeltledgerError, WrongInput
from historian.frame import Times, Values
from historian.quality import GOOD, NO_DATA
from historian.tags import Tag
from historian.units import conversion, ucum
from simulator.parquet_file import TAGS_KEY
from simulator.recorded.csv_file import SOURCE, Samples

_LARGEST_CODE = 2**32


def read_parquet(path: Path) -> tuple[tuple[Tag, ...], Samples]:
    """The tags and the samples of a file, these in order of time.

    Raises:
        WrongInput: naming file, row (from 1) and remedy.
    """
    try:
        table = pq.read_table(path)
    except FileNotFoundError as error:
        raise WrongInput(f"{path}: the file cannot be read (it is not there); name another one") from error
    except (OSError, pa.ArrowInvalid) as error:
        raise WrongInput(f"{path}: not a Parquet file ({error}); name another one") from error
    try:
        return _read(path, table)
    except pa.ArrowException as error:
        raise WrongInput(f"{path}: a column holds something else than is expected ({error})") from error


def _read(path: Path, table: pa.Table) -> tuple[tuple[Tag, ...], Samples]:
    columns = {name.lower(): table[name] for name in table.column_names}
    tag = _one_of(path, columns, "tag", "path")
    if not len(tag):
        raise WrongInput(f"{path}: there is no sample in it")
    times = _times(path, _one_of(path, columns, "time_ns", "time"))
    _refuse_nulls(path, "tag", tag)
    encoded = pc.cast(tag, pa.string()).combine_chunks().dictionary_encode()
    paths = encoded.dictionary.to_pylist()
    column = encoded.indices.to_numpy(zero_copy_only=False).astype(np.int64)
    value = _doubles(_one_of(path, columns, "value"))
    told = _told_tags(table.schema.metadata or {})
    if told.keys() >= set(paths):
        # The file itself knows its tags: units, kinds and codes stand there.
        tags: tuple[Tag, ...] = tuple(told[p] for p in paths)
        scaling: dict[str, tuple[float, float]] = {}
    else:
        tags, scaling = _tags(path, paths, _units(path, columns, paths, column))
    if scaling:
        scale, offset = (np.array([scaling.get(p, (1.0, 0.0))[k] for p in paths])[column] for k in (0, 1))
        value = value * scale + offset
    quality = _qualities(path, columns, value)
    order = np.argsort(times, kind="stable")
    return tags, Samples(column[order], times[order], value[order], quality[order])


def _told_tags(metadata: Mapping[bytes, bytes]) -> dict[str, Tag]:
    """The tags that the file's metadata describe, by path; none where it is not one of ours."""
    try:
        listed = [Tag.from_json(entry) for entry in json.loads(metadata.get(TAGS_KEY, b"[]"))]
    except (ValueError, KeyError, TypeError, AttributeError):
        return {}
    return {tag.path: replace(tag, source=SOURCE, simulated=True) for tag in listed}


def _one_of(path: Path, columns: Mapping[str, pa.ChunkedArray], *names: str) -> pa.ChunkedArray:
    for name in names:
        if name in columns:
            return columns[name]
    found = ", ".join(columns) or "none"
    raise WrongInput(f"{path}: a column '{' or '.join(names)}' is needed; there are {found}")


def _refuse_nulls(path: Path, name: str, column: pa.ChunkedArray) -> None:
    if column.null_count:
        row = int(pc.index(pc.is_null(column), True).as_py()) + 1
        raise WrongInput(f"{path}: row {row}: there is no {name}")


def _times(path: Path, column: pa.ChunkedArray) -> Times:
    _refuse_nulls(path, "time", column)
    if pa.types.is_timestamp(column.type):
        column = pc.cast(column, pa.timestamp("ns", column.type.tz))
    elif not pa.types.is_integer(column.type):
        raise WrongInput(f"{path}: the times are {column.type}; timestamps or whole nanoseconds are needed")
    times: Times = pc.cast(column, pa.int64()).to_numpy()
    return times


def _doubles(column: pa.ChunkedArray) -> Values:
    values: Values = pc.fill_null(pc.cast(column, pa.float64()), float("nan")).to_numpy().copy()
    return values


def _qualities(path: Path, columns: Mapping[str, pa.ChunkedArray], value: Values) -> NDArray[np.uint32]:
    without = np.where(np.isnan(value), NO_DATA, GOOD).astype(np.int64)
    if "quality" not in columns:
        return without.astype(np.uint32)
    given = pc.cast(columns["quality"], pa.int64())
    known = pc.is_valid(given).to_numpy()
    codes = np.where(known, pc.fill_null(given, 0).to_numpy(), without)
    wrong = np.flatnonzero((codes < 0) | (codes >= _LARGEST_CODE))
    if len(wrong):
        row = int(wrong[0])
        raise WrongInput(f"{path}: row {row + 1}: '{codes[row]}' is no StatusCode: it has 32 bits")
    return codes.astype(np.uint32)


def _units(
    path: Path, columns: Mapping[str, pa.ChunkedArray], paths: list[str], column: NDArray[np.int64]
) -> Mapping[str, str]:
    """The unit of each path where the file says it; one unit a path."""
    if "unit" not in columns:
        return {}
    encoded = pc.fill_null(pc.cast(columns["unit"], pa.string()), "").combine_chunks().dictionary_encode()
    unit = encoded.indices.to_numpy(zero_copy_only=False)
    words = encoded.dictionary.to_pylist()
    units: dict[str, str] = {}
    for at, name in enumerate(paths):
        rows = np.flatnonzero(column == at)
        units[name] = words[unit[rows[0]]]
        other = rows[unit[rows] != unit[rows[0]]]
        if len(other):
            raise WrongInput(
                f"{path}: row {int(other[0]) + 1}: {name} is in '{words[unit[other[0]]]}' here "
                f"and in '{units[name]}' above"
            )
    return units


def _tags(
    path: Path, paths: list[str], units: Mapping[str, str]
) -> tuple[tuple[Tag, ...], dict[str, tuple[float, float]]]:
    """The tags, and scale and offset of those whose unit in the file is not the catalogue's."""
    tags = []
    scaling: dict[str, tuple[float, float]] = {}
    for name in paths:
        try:
            own = ucum(units[name]) if units.get(name) else ""
            tag = canonical_tag(name, source=SOURCE, simulated=True, unit=own or "1")
            if own and own != tag.unit and meaning_of(name) is not None:
                scaling[name] = conversion(own, tag.unit)
        except MeltledgerError as error:
            raise WrongInput(f"{path}: {name}: {error}") from error
        tags.append(tag)
    return tuple(tags), scaling
