"""Writes a window of a store as CSV or Parquet; a file has its name only when it is whole."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final, Literal
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from historian.errors import StoreReadOnly
from historian.exchange._window import Window, lots, side_by_side, tags_of
from historian.frame import NS, Series
from historian.quality import is_good
from historian.store import Store
from historian.tags import Tag

_LONG: Final = ("time", "tag", "value", "unit", "quality")
TAGS_KEY: Final = b"meltledger.tags"
WINDOW_KEY: Final = b"meltledger.window"

Progress = Callable[[int, int], None]
"""Told how much is done, of how much; in nanoseconds of the window."""


def export_csv(
    store: Store,
    path: Path,
    window: Window,
    *,
    form: Literal["wide", "long"] = "long",
    zone: ZoneInfo | None = None,
    separator: str = ",",
    decimal: str = ".",
    progress: Progress | None = None,
) -> int:
    """Write a window as CSV (UTF-8); gives the number of samples.

    The long form has the columns ``time``, ``tag``, ``value``, ``unit``, ``quality`` (OPC UA StatusCode);
    importing it gives the same samples (arrival and clock epoch are not in it). The wide form is for people
    and spreadsheets: one column a tag, its unit in the header, a cell only where the tag has a value at that
    time, and in the column ``not good`` the tags of that row whose quality is not good.

    Args:
        zone: of the times, with their offset; UTC when None.

    Raises:
        UnknownTag: a path that the store does not hold.
        StoreReadOnly: the file cannot be written.
    """
    tags = tags_of(store, window)
    stamp = _Stamps(zone)
    with _whole(path) as part, part.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, delimiter=separator, lineterminator="\n")
        rows = _long_rows if form == "long" else _wide_rows
        out.writerow(_LONG if form == "long" else ["time", *map(heading, tags), "not good"])
        count = 0
        for found in lots(store, window):
            count += sum(len(s) for s in found.values())
            out.writerows(rows(found, tags, stamp, decimal))
            _told(progress, window, found)
    return count


def heading(tag: Tag) -> str:
    """A column's heading: path, unit and, for a pressure, gauge or absolute.

    Example:
        >>> heading(Tag("die.pressure.pv", "bar", reference="gauge"))
        'die.pressure.pv [bar(g)]'
    """
    return f"{tag.path} [{_unit_text(tag)}]"


def _unit_text(tag: Tag) -> str:
    return tag.unit + {"gauge": "(g)", "absolute": "(a)"}.get(tag.reference, "")


def _long_rows(
    found: dict[str, Series], tags: list[Tag], stamp: _Stamps, decimal: str
) -> Iterator[list[str]]:
    """Rows in order of time; tags of one time in the order in which they were named."""
    series = [found[t.path] for t in tags]
    time_ns = np.concatenate([s.time_ns for s in series])
    which = np.repeat(np.arange(len(series)), [len(s) for s in series])
    values = np.concatenate([s.value for s in series]).tolist()
    quality = np.concatenate([s.quality for s in series]).tolist()
    units = [_unit_text(t) for t in tags]
    for k in np.lexsort((which, time_ns)).tolist():
        tag = tags[which[k]]
        code = f"0x{quality[k]:08X}"
        yield [stamp.text(int(time_ns[k])), tag.path, _number(values[k], decimal), units[which[k]], code]


def _wide_rows(
    found: dict[str, Series], tags: list[Tag], stamp: _Stamps, decimal: str
) -> Iterator[list[str]]:
    grid = side_by_side(found, [t.path for t in tags])
    doubt = grid.present & ~is_good(grid.quality)
    for k, time_ns in enumerate(grid.time_ns.tolist()):
        cells = [_number(v, decimal) for v in grid.value[k].tolist()]
        names = " ".join(tags[j].path for j in np.flatnonzero(doubt[k]))
        yield [stamp.text(time_ns), *cells, names]


def _number(value: float, decimal: str) -> str:
    """The shortest text that reads back as the same number; empty for none."""
    if value != value:  # noqa: PLR0124
        return ""
    text = repr(value)
    text = text.removesuffix(".0")
    return text if decimal == "." else text.replace(".", decimal)


class _Stamps:
    """Writes times as ISO 8601 with all nine digits of the nanosecond where they are not zero."""

    def __init__(self, zone: ZoneInfo | None) -> None:
        self._zone = zone
        self._last = (-1, "", "")

    def text(self, time_ns: int) -> str:
        """The time, with Z or its offset."""
        second, rest = divmod(time_ns, NS)
        if second != self._last[0]:
            self._last = (second, *_second(second, self._zone))
        _, text, offset = self._last
        fraction = f".{rest:09d}".rstrip("0") if rest else ""
        return f"{text}{fraction}{offset}"


def _second(second: int, zone: ZoneInfo | None) -> tuple[str, str]:
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=second)
    text = moment.astimezone(zone or UTC).isoformat(timespec="seconds")
    return text[:19], "Z" if zone is None else text[19:]


def export_parquet(
    store: Store,
    path: Path,
    window: Window,
    *,
    form: Literal["wide", "long"] = "long",
    progress: Progress | None = None,
) -> int:
    """Write a window as Parquet (zstd); gives the number of samples.

    Long: ``time`` (timestamp[ns, UTC]), ``tag`` (string, dictionary), ``value`` (float64; null where there is
    none), ``quality`` (uint32, OPC UA StatusCode). Wide: ``time``, then for each tag a column by its path and
    one with ``.quality`` behind it, null where the tag has no sample at that time. The file's metadata holds
    the tags (``meltledger.tags``: JSON, unit and all) and the window; a wide field has its unit besides.

    Raises:
        UnknownTag: a path that the store does not hold.
        StoreReadOnly: the file cannot be written.
    """
    tags = tags_of(store, window)
    schema = _schema(tags, window, form)
    make = _long_table if form == "long" else _wide_table
    count = 0
    with _whole(path) as part, pq.ParquetWriter(part, schema, compression="zstd") as writer:
        for found in lots(store, window):
            count += sum(len(s) for s in found.values())
            writer.write_table(make(found, tags, schema))
            _told(progress, window, found)
    return count


def _schema(tags: list[Tag], window: Window, form: str) -> Any:
    time = pa.field("time", pa.timestamp("ns", tz="UTC"), nullable=False)
    if form == "long":
        tag = pa.field("tag", pa.dictionary(pa.int32(), pa.string()), nullable=False)
        fields = [
            time, tag, pa.field("value", pa.float64()), pa.field("quality", pa.uint32(), nullable=False)
        ]  # fmt: skip
    else:
        fields = [time]
        for one in tags:
            note = {"unit": one.unit, "reference": one.reference, "text": one.text}
            fields.append(pa.field(one.path, pa.float64(), metadata=note))
            fields.append(pa.field(f"{one.path}.quality", pa.uint32()))
    said = {
        "start_ns": window.start_ns,
        "end_ns": window.end_ns,
        "interval_ns": window.interval_ns,
        "aggregate": str(window.aggregate) if window.aggregate else "raw",
    }
    listed = json.dumps([t.to_json() for t in tags], ensure_ascii=False)
    return pa.schema(fields, metadata={TAGS_KEY: listed.encode(), WINDOW_KEY: json.dumps(said).encode()})


def _long_table(found: dict[str, Series], tags: list[Tag], schema: Any) -> Any:
    series = [found[t.path] for t in tags]
    time_ns = np.concatenate([s.time_ns for s in series])
    which = np.repeat(np.arange(len(series), dtype=np.int32), [len(s) for s in series])
    value = np.concatenate([s.value for s in series])
    quality = np.concatenate([s.quality for s in series])
    order = np.lexsort((which, time_ns))
    names = pa.array([t.path for t in tags], pa.string())
    columns = [
        pa.array(time_ns[order], pa.timestamp("ns", tz="UTC")),
        pa.DictionaryArray.from_arrays(pa.array(which[order]), names),
        pa.array(value[order], mask=np.isnan(value[order])),
        pa.array(quality[order]),
    ]
    return pa.Table.from_arrays(columns, schema=schema)


def _wide_table(found: dict[str, Series], tags: list[Tag], schema: Any) -> Any:
    grid = side_by_side(found, [t.path for t in tags])
    columns = [pa.array(grid.time_ns, pa.timestamp("ns", tz="UTC"))]
    for k in range(len(tags)):
        columns.append(pa.array(grid.value[:, k], mask=np.isnan(grid.value[:, k])))
        columns.append(pa.array(grid.quality[:, k], mask=~grid.present[:, k]))
    return pa.Table.from_arrays(columns, schema=schema)


def _told(progress: Progress | None, window: Window, found: dict[str, Series]) -> None:
    if progress is not None:
        last = max(int(s.time_ns[-1]) for s in found.values() if len(s))
        progress(min(last, window.end_ns) - window.start_ns, window.end_ns - window.start_ns)


@contextmanager
def _whole(path: Path) -> Iterator[Path]:
    """A file beside the wanted one that takes its name at the end; an old one stays until then.

    Raises:
        StoreReadOnly: the folder cannot be written, or the disk is full.
    """
    part = path.with_name(path.name + ".part")
    try:
        yield part
        part.replace(path)
    except OSError as error:
        raise StoreReadOnly(f"{path}: cannot be written ({error}); name another file") from error
    finally:
        part.unlink(missing_ok=True)
