"""What the server's answers mean. Pure."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.embedded.rows import decode
from historian.errors import StoredDataDamaged
from historian.frame import Frame, Series, Values
from historian.influx.lines import HELD, MINUS_INFINITY, NUMBER, PLUS_INFINITY, Numbered
from historian.quality import UNCERTAIN, is_good
from historian.store import Sample
from historian.tags import Tag

Numbers = NDArray[np.int64]
_SERIES = ("time_ns", "value", "quality")


class Complaint(ValueError):
    """The server says what is wrong with the question."""


class CutShort(ValueError):
    """More was promised than came."""


@dataclass(frozen=True, slots=True)
class Table:
    """One series of an answer.

    Attributes:
        tags: tag → value, as far as the answer is grouped by them.
        columns: name → values, all of one length.
    """

    tags: Mapping[str, str]
    columns: Mapping[str, Sequence[Any]]

    def __len__(self) -> int:
        return len(self.columns["time"])


def tables_in(pieces: Iterable[Mapping[str, Any]]) -> Iterator[Table]:
    """The series of an answer that comes in pieces; a long series is several tables, one after the other.

    Raises:
        Complaint: with the server's words.
        CutShort: the last piece says that another comes.

    Example:
        >>> head = {"name": "sample", "columns": ["time"]}
        >>> one = {"results": [{"statement_id": 0, "series": [{**head, "values": [[1]], "partial": True}]}]}
        >>> two = {"results": [{"statement_id": 0, "series": [{**head, "values": [[2]]}]}]}
        >>> [table.columns["time"] for table in tables_in([one, two])]
        [(1,), (2,)]
    """
    goes_on = False
    for piece in pieces:
        for result in (piece, *piece.get("results", [])):
            if "error" in result:
                raise Complaint(result["error"])
            for one in result.get("series", []):
                goes_on = bool(one.get("partial"))
                columns = zip(one["columns"], zip(*one["values"], strict=True), strict=True)
                yield Table(one.get("tags", {}), dict(columns))
    if goes_on:
        raise CutShort


def tags_in(tables: Iterable[Table]) -> dict[str, Tag]:
    """The answer to ``all_tags``."""
    found = {}
    for table in tables:
        data = json.loads(table.columns["body"][-1])
        found[data["path"]] = Tag.from_json(data, id=int(table.columns["number"][-1]))
    return found


def series_in(tables: Iterable[Table]) -> dict[str, Series]:
    """The answer to ``samples_between``: a series a path.

    At equal times the clock epochs stand in order of arrival, none of them better than uncertain.
    """
    parts: dict[str, dict[str, list[tuple[Series, Numbers]]]] = {}
    for table in tables:
        clocks = parts.setdefault(table.tags["path"], {})
        clocks.setdefault(table.tags["clock"], []).append((_series(table), _numbers(table)))
    return {path: _merged(clocks) for path, clocks in parts.items()}


def newest_in(tables: Iterable[Table]) -> dict[str, Sample]:
    """The answer to ``last_samples``: the newest sample a path; of equal times the one that arrived later."""
    found: dict[str, tuple[tuple[int, int], Sample]] = {}
    for table in tables:
        series, arrival = _series(table), int(table.columns["arrival"][-1])
        sample = Sample(
            int(series.time_ns[-1]), float(series.value[-1]), int(series.quality[-1]), arrival_ns=arrival
        )
        rank = (sample.time_ns, int(table.columns["number"][-1]))
        if table.tags["path"] not in found or rank > found[table.tags["path"]][0]:
            found[table.tags["path"]] = rank, sample
    return {path: sample for path, (_, sample) in found.items()}


def bound_in(tables: Iterable[Table]) -> dict[str, Series]:
    """The answer to ``last_samples``: the newest a path as a series; of equal times the last to come."""
    return {
        path: Series(s.time_ns[-1:], s.value[-1:], s.quality[-1:]) for path, s in series_in(tables).items()
    }


def frames_in(tables: Iterable[Table], *, where: str) -> Iterator[Numbered]:
    """The answer to ``frames_after``, as far as all parts of a frame are in it.

    Raises:
        StoredDataDamaged: a body is not what was written.
    """
    parts: dict[int, dict[int, tuple[int, int, str]]] = {}
    for table in tables:
        names = ("time", "number", "part", "parts", "body")
        for key_ns, number, part, count, body in zip(*(table.columns[n] for n in names), strict=True):
            parts.setdefault(int(number), {})[int(part)] = int(key_ns), int(count), str(body)
    for number, have in sorted(parts.items()):
        key_ns, count, _ = next(iter(have.values()))
        if len(have) < count:
            return
        body = "".join(have[part][2] for part in range(count))
        yield Numbered(number, key_ns, _frame(body, number, f"{where}, frame {number}"))


def _frame(body: str, number: int, where: str) -> Frame:
    try:
        row = decode(zlib.decompress(base64.b64decode(body, validate=True)), number, number, where=where)
    except (zlib.error, ValueError) as error:
        raise StoredDataDamaged(f"{where}: the body is not what was written ({error})") from error
    return next(row.frames())[1]


def _series(table: Table) -> Series:
    form = np.array(table.columns["form"], dtype=np.int64)
    value: Values = np.full(len(table), np.nan)
    for kept, name in ((NUMBER, "value"), (HELD, "held")):
        mask = form == kept
        if mask.any():
            value[mask] = np.array(table.columns[name], dtype=np.float64)[mask]
    value[form == PLUS_INFINITY] = np.inf
    value[form == MINUS_INFINITY] = -np.inf
    return Series(
        np.array(table.columns["time"], dtype=np.int64),
        value,
        np.array(table.columns["quality"], dtype=np.int64).astype(np.uint32),
    )


def _numbers(table: Table) -> Numbers:
    return np.array(table.columns["number"], dtype=np.int64)


def _merged(clocks: Mapping[str, Sequence[tuple[Series, Numbers]]]) -> Series:
    """The pieces of each clock epoch as one series."""
    parts = [part for pieces in clocks.values() for part in pieces]
    if len(parts) == 1:
        return parts[0][0]
    series = Series(*(np.concatenate([getattr(s, n) for s, _ in parts]) for n in _SERIES))
    if len(clocks) == 1:
        return series
    order = np.lexsort((np.concatenate([n for _, n in parts]), series.time_ns))
    time_ns, quality = series.time_ns[order], series.quality[order]
    same = time_ns[1:] == time_ns[:-1]
    collides = np.append(same, False) | np.append(False, same)
    quality = np.where(collides & is_good(quality), quality | UNCERTAIN, quality).astype(np.uint32)
    return Series(time_ns, series.value[order], quality)
