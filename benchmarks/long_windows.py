"""A season of one tag as a picture: from rollups and from the samples."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from typing import Any, Final

from benchmarks.answers import extremes_in, extremes_of, same_rows, same_within_a_column
from benchmarks.asking import BUCKETS, COLUMNS, POINTS
from benchmarks.figure import Figure
from benchmarks.influx_beside import INFLUX, LONG, InfluxBeside
from benchmarks.plain_table import PlainTable
from benchmarks.prepared import Prepared
from benchmarks.reference_set import LONG_TAG, START_NS
from benchmarks.turns import OURS, PLAIN, Bars, time_figure, timed
from historian.embedded.store import EmbeddedStore

ROLLED_BARS: Final = {False: Bars(230.0, 10.0), True: Bars(15.0, 10.0)}
RAW_BARS: Final = {False: Bars(15.0, 200.0), True: Bars(10.0)}
_ROLLED: Final = "ours, rolled"


def figures(data: Prepared, influx: InfluxBeside | None) -> Iterator[Figure]:
    """Times in milliseconds."""
    path, window = LONG_TAG.path, (START_NS, data.long_end_ns)
    with (
        closing(EmbeddedStore.open(data.long, mode="read")) as rolled,
        closing(EmbeddedStore.open(data.long_raw, mode="read")) as raw,
        closing(PlainTable(data.long_plain)) as plain,
    ):
        others: dict[str, Callable[[], Any]] = {
            PLAIN: partial(plain.minimum_and_maximum, LONG_TAG.id, *window, BUCKETS)
        }
        if influx is not None and not data.quick:
            others[INFLUX] = partial(influx.minimum_and_maximum, path, *window, BUCKETS, LONG)
        mine = {
            OURS: partial(raw.envelope, path, *window, COLUMNS),
            _ROLLED: partial(rolled.envelope, path, *window, COLUMNS),
        }
        samples = plain.count(*window)
        exact = {
            name: extremes_in(ask(), COLUMNS, a_column=BUCKETS // COLUMNS) for name, ask in others.items()
        }
        for way, draw in mine.items():
            outline = draw()
            same_rows([outline.samples], [samples], f"{way}, samples")
            compare = same_within_a_column if way == _ROLLED else same_rows
            for name, theirs in exact.items():
                compare(extremes_of(outline, *window, COLUMNS), theirs, f"{way}, outline, {name}")
        took_ms = timed({**mine, **others})
    name = f"1 tag x {data.days} days to {POINTS:,} points"
    yield time_figure(f"{name}, from rollups", took_ms, ROLLED_BARS[data.quick], quick=data.quick, of=_ROLLED)
    yield time_figure(f"{name}, from raw", took_ms, RAW_BARS[data.quick], quick=data.quick)
