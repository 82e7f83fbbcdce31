"""Reads a trial from a Parquet file in long form, as ``export`` and ``simulate --to`` write it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from historian.errors import MeltledgerError, WrongInput
from historian.exchange.parquet import TAGS_KEY
from historian.frame import Frame
from historian.quality import GOOD, NO_DATA, is_bad
from historian.tags import Tag

_NEEDED: Final = ("tag", "value")
_EXPORT: Final = "write it with `meltledger export` in long form"


def tags_of(file: Path) -> dict[str, Tag]:
    """The tags that the file's metadata tell, numbered from 1 in their order, by path.

    Raises:
        WrongInput: naming the file and the remedy.
    """
    try:
        listed = json.loads((_schema(file).metadata or {})[TAGS_KEY])
        tags = [Tag.from_json(one, id=n) for n, one in enumerate(listed, start=1)]
    except MeltledgerError:
        raise
    except (ValueError, KeyError, TypeError) as error:
        raise WrongInput(f"{file}: does not say what its tags are; {_EXPORT}") from error
    return {t.path: replace(t, source=t.source or "archive") for t in tags}


def frame_of(file: Path, tags: Mapping[str, Tag]) -> Frame:
    """All samples of the file as one frame; bad ones have no value.

    Raises:
        WrongInput: naming the file, the column and the remedy.
    """
    columns = _schema(file).names
    time = "time_ns" if "time_ns" in columns else "time"
    missing = [c for c in (*_NEEDED, time) if c not in columns]
    if missing:
        raise WrongInput(f"{file}: there is no column '{missing[0]}'; {_EXPORT}")
    wanted = [*_NEEDED, time, *(["quality"] if "quality" in columns else [])]
    try:
        table = pq.read_table(file, columns=wanted)
        time_ns = _times(table[time])
        tag = _numbers(file, table["tag"], tags)
        value = pc.fill_null(pc.cast(table["value"], pa.float64()), float("nan")).to_numpy()
        quality = _qualities(table, value)
    except (OSError, pa.ArrowException) as error:
        raise WrongInput(f"{file}: cannot be read ({error}); write it anew") from error
    value = np.where(is_bad(quality), np.nan, value)
    arrival_ns = int(time_ns.max()) if len(time_ns) else 0
    return Frame.of(tag, time_ns, value, quality, arrival_ns=arrival_ns)


def _schema(file: Path) -> Any:
    try:
        return pq.read_schema(file)
    except FileNotFoundError as error:
        raise WrongInput(f"{file}: there is no such file; name another one") from error
    except (OSError, pa.ArrowException) as error:
        raise WrongInput(f"{file}: is no Parquet file ({error}); name another one") from error


def _times(column: Any) -> NDArray[np.int64]:
    if pa.types.is_timestamp(column.type):
        column = pc.cast(column, pa.timestamp("ns", column.type.tz))
    found: NDArray[np.int64] = pc.cast(column, pa.int64()).to_numpy()
    return found


def _numbers(file: Path, column: Any, tags: Mapping[str, Tag]) -> NDArray[np.int32]:
    coded = pc.cast(column, pa.string()).combine_chunks().dictionary_encode()
    paths = coded.dictionary.to_pylist()
    unknown = [p for p in paths if p not in tags]
    if unknown or coded.null_count:
        what = f"the tag '{unknown[0]}'" if unknown else "a row's tag"
        raise WrongInput(f"{file}: {what} is not among those that the file tells of; {_EXPORT}")
    numbers = np.asarray([tags[p].id for p in paths], dtype=np.int32)
    found: NDArray[np.int32] = numbers[coded.indices.to_numpy(zero_copy_only=False)]
    return found


def _qualities(table: Any, value: NDArray[np.float64]) -> NDArray[np.uint32]:
    unknown = np.where(np.isnan(value), NO_DATA, GOOD).astype(np.uint32)
    if "quality" not in table.column_names:
        return unknown
    given = pc.cast(table["quality"], pa.uint32())
    found: NDArray[np.uint32] = np.where(
        pc.is_valid(given).to_numpy(), pc.fill_null(given, 0).to_numpy(), unknown
    ).astype(np.uint32)
    return found
