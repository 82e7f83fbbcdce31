"""The Parquet files of a segment: their columns, encodings and bytes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from historian.archive.audit import Audit
from historian.archive.columns import Columns, FrameTable
from historian.archive.numbers import Form, to_arrow
from historian.archive.stamps import REST, rests, stamp, to_rests, to_stamps, unit_of
from historian.frame import Times
from historian.tags import Tag

QUALITY: Final = "#quality"
NOT_TAGS: Final = ("time", "seq", "time" + REST)
META_KEY: Final = b"meltledger.segment"
_LEVEL: Final = 6
LONG_ROWS: Final = 32_768


@dataclass(frozen=True, slots=True)
class WideShape:
    """What must be known of a scan group before its first row is written.

    Attributes:
        tags: number → tag, rising.
        forms: how each tag's values are kept.
        unit: of the time stamps.
    """

    tags: Mapping[int, Tag]
    forms: Mapping[int, Form]
    unit: str

    def schema(self) -> Any:
        """The Arrow schema of the file."""
        fields = [stamp("time", self.unit), pa.field("seq", pa.int64(), nullable=False)]
        for number, tag in self.tags.items():
            note = {"PARQUET:field_id": str(number), "unit": tag.unit}
            fields.append(pa.field(tag.path, self.forms[number].arrow, metadata=note))
            fields.append(pa.field(tag.path + QUALITY, pa.uint32()))
        return pa.schema([*fields, *rests(self.unit, "time")])


class ParquetBytes:
    """A Parquet file that grows in memory, one row group at a time."""

    def __init__(self, schema: Any, *, dictionary: Sequence[str], split: Sequence[str] = ()) -> None:
        self._out = pa.BufferOutputStream()
        delta = [
            f.name
            for f in schema
            if f.name not in dictionary
            and (pa.types.is_integer(f.type) or pa.types.is_timestamp(f.type) or pa.types.is_decimal(f.type))
        ]
        encodings = dict.fromkeys(delta, "DELTA_BINARY_PACKED") | dict.fromkeys(split, "BYTE_STREAM_SPLIT")
        self._writer = pq.ParquetWriter(
            self._out,
            schema,
            compression="zstd",
            compression_level=_LEVEL,
            use_dictionary=list(dictionary),
            column_encoding=encodings,
            store_decimal_as_integer=True,
            write_page_index=False,
        )
        self._schema = schema
        self.rows = 0

    def add(self, columns: Sequence[Any]) -> None:
        """One row group."""
        table = pa.Table.from_arrays(list(columns), schema=self._schema)
        self.rows += len(table)
        self._writer.write_table(table, row_group_size=max(1, len(table)))

    def close(self, note: Mapping[str, Any] | None = None) -> bytes:
        """The whole file, with a note in its metadata."""
        if note is not None:
            self._writer.add_key_value_metadata({META_KEY: json.dumps(note, sort_keys=True).encode()})
        self._writer.close()
        data: bytes = self._out.getvalue().to_pybytes()
        return data


def wide_file(shape: WideShape) -> ParquetBytes:
    """An empty file for a scan group."""
    floats = {shape.tags[n].path: form for n, form in shape.forms.items() if form.scale is None}
    qualities = [tag.path + QUALITY for tag in shape.tags.values()]
    return ParquetBytes(
        shape.schema(),
        dictionary=[*qualities, *(path for path, form in floats.items() if form.repeats)],
        split=[path for path, form in floats.items() if not form.repeats],
    )


def wide_columns(shape: WideShape, kept: Columns) -> list[Any]:
    """The columns of one row group: every stamp of the samples once, every tag beside it.

    Args:
        kept: samples of the shape's tags, sorted by tag, time and seq, at least one.
    """
    order = np.lexsort((kept.seq, kept.time_ns))
    time_ns, seq = kept.time_ns[order], kept.seq[order]
    new = np.append(True, (time_ns[1:] != time_ns[:-1]) | (seq[1:] != seq[:-1]))
    row = np.empty(len(kept), dtype=np.intp)
    row[order] = np.cumsum(new) - 1
    rows = int(new.sum())
    columns = [to_stamps(time_ns[new], shape.unit), pa.array(seq[new])]
    numbers = np.fromiter(shape.tags, dtype=np.int32)
    low, high = (np.searchsorted(kept.tag, numbers, side=s).tolist() for s in ("left", "right"))
    for number, a, b in zip(shape.tags, low, high, strict=True):
        value = np.full(rows, np.nan)
        value[row[a:b]] = kept.value[a:b]
        quality = np.zeros(rows, dtype=np.uint32)
        quality[row[a:b]] = kept.quality[a:b]
        missing = np.ones(rows, dtype=np.bool_)
        missing[row[a:b]] = False
        columns.append(to_arrow(value, shape.forms[number]))
        columns.append(pa.array(quality, mask=missing if b - a < rows else None))
    return [*columns, *to_rests(shape.unit, time_ns[new])]


def long_file(unit: str) -> ParquetBytes:
    """An empty file for tags with stamps of their own."""
    schema = pa.schema([*_long_fields(unit), *rests(unit, "time")])
    return ParquetBytes(schema, dictionary=["tag", "tag_id", "value", "quality"])


def long_columns(kept: Columns, paths: Mapping[int, str], unit: str) -> list[Any]:
    """The columns of one row group, one row a sample; ``kept`` is sorted by tag, time and seq."""
    return [*_long(kept, paths, unit), *to_rests(unit, kept.time_ns)]


def _long(kept: Columns, paths: Mapping[int, str], unit: str) -> list[Any]:
    names = [paths[n] for n in np.unique(kept.tag).tolist()]
    place = np.unique(kept.tag, return_inverse=True)[1].astype(np.int32)
    return [
        pa.DictionaryArray.from_arrays(pa.array(place), pa.array(names, pa.string())).cast(pa.string()),
        pa.array(kept.tag),
        to_stamps(kept.time_ns, unit),
        pa.array(kept.seq),
        pa.array(kept.value, mask=np.isnan(kept.value)),
        pa.array(kept.quality),
    ]


def frames_file(frames: FrameTable, note: Mapping[str, Any]) -> bytes:
    """The frames of a segment, with the segment's own description."""
    unit = unit_of(frames.arrival_ns)
    fields = [pa.field("seq", pa.int64()), stamp("arrival", unit), pa.field("epoch", pa.int32())]
    file = ParquetBytes(pa.schema([*fields, *rests(unit, "arrival")]), dictionary=[])
    columns = [pa.array(frames.seq), to_stamps(frames.arrival_ns, unit), pa.array(frames.epoch)]
    file.add([*columns, *to_rests(unit, frames.arrival_ns)])
    return file.close(note)


def audit_file(audit: Audit, frames: FrameTable, paths: Mapping[int, str]) -> bytes:
    """What was sent but is not among the samples, with when it had come and what replaced it."""
    rows = audit.rows
    arrival_ns: Times = frames.arrival_ns[frames.places(rows.seq)]
    unit = unit_of(np.append(arrival_ns, rows.time_ns))
    fields = [
        *_long_fields(unit),
        stamp("arrival", unit),
        pa.field("epoch", pa.int32()),
        pa.field("replaced_by", pa.int64()),
    ]
    schema = pa.schema([*fields, *rests(unit, "time", "arrival")])
    file = ParquetBytes(schema, dictionary=["tag", "tag_id", "value", "quality"])
    epoch = pa.array(frames.epoch[frames.places(rows.seq)])
    columns = [*_long(rows, paths, unit), to_stamps(arrival_ns, unit), epoch, pa.array(audit.replaced_by)]
    file.add([*columns, *to_rests(unit, rows.time_ns, arrival_ns)])
    return file.close()


def _long_fields(unit: str) -> list[Any]:
    return [
        pa.field("tag", pa.string()),
        pa.field("tag_id", pa.int32()),
        stamp("time", unit),
        pa.field("seq", pa.int64()),
        pa.field("value", pa.float64()),
        pa.field("quality", pa.uint32()),
    ]
