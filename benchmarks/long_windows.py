"""A season of one tag as a picture: from rollups and from the samples."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing

import numpy as np

from benchmarks.asking import POINTS, in_turn, same, time_figure
from benchmarks.figure import Figure
from benchmarks.plain_table import PlainTable
from benchmarks.prepared import LONG_TAG, Prepared
from benchmarks.reference_set import START_NS
from historian.embedded import EmbeddedStore


def figures(data: Prepared) -> Iterator[Figure]:
    """Times in milliseconds."""
    window, columns = (START_NS, data.long_end_ns), POINTS // 4
    with (
        closing(EmbeddedStore.open(data.long, mode="read")) as rolled,
        closing(EmbeddedStore.open(data.long_raw, mode="read")) as raw,
        closing(PlainTable(data.long_plain)) as plain,
    ):
        theirs = plain.minimum_and_maximum(1, *window, POINTS // 2)
        for store in (rolled, raw):
            mine = store.envelope(LONG_TAG.path, *window, columns)
            same(float(np.nanmin(mine.value)), min(low for low, _ in theirs), "smallest")
            same(float(np.nanmax(mine.value)), max(high for _, high in theirs), "largest")
            same(mine.samples, plain.count(), "samples")
        rolled_ms, raw_ms, plain_ms = in_turn(
            lambda: rolled.envelope(LONG_TAG.path, *window, columns),
            lambda: raw.envelope(LONG_TAG.path, *window, columns),
            lambda: plain.minimum_and_maximum(1, *window, POINTS // 2),
        )
    name = f"1 tag x {data.days} days to {POINTS:,} points"
    yield time_figure(
        f"{name}, from rollups, ms", rolled_ms, plain_ms, 230.0 if not data.quick else 15.0, 10.0, data, []
    )
    yield time_figure(
        f"{name}, from raw, ms", raw_ms, plain_ms, 15.0, 200.0 if not data.quick else None, data, []
    )
