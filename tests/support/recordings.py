"""A few samples of a line as a store, a CSV and a Parquet file, and what a playback gives of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from historian.embedded.store import EmbeddedStore
from historian.frame import NS, Frame
from historian.quality import GOOD, LAST_USABLE, NO_DATA, SENSOR_FAILURE
from historian.tags import Tag, TagKind
from simulator.recorded.playback import Playback
from simulator.serving.ledger import HEADER

T0_NS = 1_700_000_000 * NS
PRESSURE = Tag("filter.inlet.pressure.pv", "bar")
STATE = Tag("filter.wiper.state", "1", TagKind.CODE)
MINE = Tag("my.own.pv", "mm/s", text="my.own.pv")
BEAT = Tag("edge.heartbeat.state", "1", TagKind.BOOLEAN)
TAGS = (PRESSURE, STATE, MINE)

Row = tuple[str, int, float | None, int]
# Half seconds, a gap of a minute and a half, times below a microsecond, every kind of quality.
ROWS: tuple[Row, ...] = (
    (PRESSURE.path, T0_NS, 71.25, GOOD),
    (STATE.path, T0_NS, 1.0, GOOD),
    (PRESSURE.path, T0_NS + 500_000_000, 71.5, GOOD),
    (PRESSURE.path, T0_NS + NS, 71.0, LAST_USABLE),
    (PRESSURE.path, T0_NS + 1_000_000_007, None, NO_DATA),
    (STATE.path, T0_NS + 2 * NS, None, SENSOR_FAILURE),
    (PRESSURE.path, T0_NS + 92 * NS, 3.0, GOOD),
    (MINE.path, T0_NS + 93 * NS + 1, -0.5, GOOD),
)


def store_in(folder: Path, rows: Sequence[Row]) -> Path:
    """A store with these rows, arriving in three frames, late ones too; and the edge's heartbeat."""
    store = EmbeddedStore.open(folder)
    ids = {path: tag.id for path, tag in store.register([BEAT, *TAGS]).items()}
    late, first, second = rows[2:3], rows[:2], rows[3:]
    for part in (first, second, late):
        columns = zip(*((ids[p], t, math.nan if v is None else v, q) for p, t, v, q in part), strict=True)
        store.append(Frame.of(*columns, arrival_ns=T0_NS + 100 * NS))
    store.append(Frame.of([ids[BEAT.path]], [T0_NS + NS], [1.0], [GOOD], arrival_ns=T0_NS + 100 * NS))
    store.close()
    return folder


def long_in(file: Path, rows: Sequence[Row]) -> Path:
    lines = [",".join(HEADER)] + [f"{p},{t},{math.nan if v is None else v},{q},1" for p, t, v, q in rows]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def parquet_in(file: Path, rows: Sequence[Row], **columns: Any) -> Path:
    """The rows as a Parquet file in the long form; ``columns`` stand instead of the ordinary ones."""
    paths, times, values, qualities = zip(*rows, strict=True)
    table: dict[str, Any] = {
        "tag": pa.array(paths).dictionary_encode(),
        "time": pa.array(times, pa.timestamp("ns", tz="UTC")),
        "value": pa.array([math.nan if v is None else v for v in values], pa.float64()),
        "quality": pa.array(qualities, pa.uint32()),
        **columns,
    }
    pq.write_table(pa.table({name: column for name, column in table.items() if column is not None}), file)
    return file


def played(playback: Playback, until: int | None = None) -> list[Row]:
    """Everything that the feed gives, second by second."""
    last = playback.last_s if until is None else until
    assert last is not None
    return [
        (s.path, s.time_ns, None if math.isnan(s.value) else s.value, s.quality)
        for second in range(last + 1)
        for s in playback.at(second)
    ]
