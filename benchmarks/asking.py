"""The questions that pages and reports put, to the embedded store, a plain table and InfluxDB."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, closing, nullcontext

import numpy as np
import pyarrow as pa

from benchmarks.figure import Figure, medians, seconds
from benchmarks.influx_beside import InfluxBeside, influx_of
from benchmarks.plain_table import PlainTable
from benchmarks.prepared import Prepared
from benchmarks.reference_set import START_NS, tags
from historian.archive.manifest import HOUR_NS
from historian.embedded import EmbeddedStore
from historian.rollups import MINUTE_NS

TAG = "bench.temperature.5.pv"
POINTS = 2_000
_COLUMNS = POINTS // 4


def figures(data: Prepared) -> Iterator[Figure]:
    """Times in milliseconds."""
    with ExitStack() as stack:
        store = stack.enter_context(closing(EmbeddedStore.open(data.store, mode="read")))
        raw = stack.enter_context(closing(EmbeddedStore.open(data.raw, mode="read")))
        plain = stack.enter_context(closing(PlainTable(data.plain)))
        influx = stack.enter_context(influx_of(data) or nullcontext())
        yield _outline(data, raw, plain, influx)
        yield _raw(data, store, plain, influx)
        yield from _latest(data, store, plain, influx)
        yield from _minutes(data, store, raw, plain, influx)


def _outline(data: Prepared, store: EmbeddedStore, plain: PlainTable, influx: InfluxBeside | None) -> Figure:
    window, number = (START_NS, data.end_ns), _number(TAG)
    mine = store.envelope(TAG, *window, _COLUMNS)
    theirs = plain.minimum_and_maximum(number, *window, POINTS // 2)
    same(min(mine.value[~np.isnan(mine.value)]), min(low for low, _ in theirs), "smallest")
    same(max(mine.value[~np.isnan(mine.value)]), max(high for _, high in theirs), "largest")
    ours_ms, plain_ms, *more = in_turn(
        lambda: store.envelope(TAG, *window, _COLUMNS),
        lambda: plain.minimum_and_maximum(number, *window, POINTS // 2),
        *influx_way(influx, lambda i: i.minimum_and_maximum(TAG, *window, POINTS // 2)),
    )
    name = f"1 tag x {data.hours} h to {POINTS:,} points, ms"
    return time_figure(name, ours_ms, plain_ms, 8.0, 2.5, data, more)


def _raw(data: Prepared, store: EmbeddedStore, plain: PlainTable, influx: InfluxBeside | None) -> Figure:
    paths = [t.path for t in tags()[:40]]
    numbers = [t.id for t in tags()[:40]]
    window = (data.end_ns - HOUR_NS, data.end_ns)
    mine, theirs = store.read(paths, *window), plain.raw(numbers, *window)
    for path, number in zip(paths, numbers, strict=True):
        np.testing.assert_array_equal(mine[path].time_ns, theirs[number].time_ns)
        np.testing.assert_array_equal(mine[path].value, theirs[number].value)
    ours_ms, plain_ms, *more = in_turn(
        lambda: store.read(paths, *window),
        lambda: plain.raw(numbers, *window),
        *influx_way(influx, lambda i: i.raw(paths, *window)),
    )
    return time_figure("40 tags x 1 h raw, ms", ours_ms, plain_ms, 7.8, 10.0, data, more)


def _latest(
    data: Prepared, store: EmbeddedStore, plain: PlainTable, influx: InfluxBeside | None
) -> Iterator[Figure]:
    paths = [t.path for t in tags()]
    numbers = [t.id for t in tags()]
    mine, theirs = store.latest(paths), plain.newest(numbers)
    for path, number in zip(paths, numbers, strict=True):
        same(mine[path].time_ns, theirs[number][0], path)

    def opened() -> None:
        with closing(EmbeddedStore.open(data.store, mode="read")) as fresh:
            fresh.latest(paths)

    # The plain table has one look-up of its key a tag; what counts is that no page ever waits for ours.
    for name, ask in (("asked again", lambda: store.latest(paths)), ("opened and asked", opened)):
        ours_ms, plain_ms, *more = in_turn(
            ask, lambda: plain.newest(numbers), *influx_way(influx, lambda i: i.newest())
        )
        yield time_figure(f"last value of 200 tags, {name}, ms", ours_ms, plain_ms, 0.2, 5.0, data, more)


def _minutes(
    data: Prepared, store: EmbeddedStore, raw: EmbeddedStore, plain: PlainTable, influx: InfluxBeside | None
) -> Iterator[Figure]:
    paths = [t.path for t in tags()]
    window = (START_NS, data.end_ns)
    theirs = plain.minutes(*window)
    for mine in (store.rollup(paths, *window, MINUTE_NS), raw.rollup(paths, *window, MINUTE_NS)):
        usable = mine.samples > mine.bad
        same(int(usable.sum()), len(theirs), "minutes")
        for place, column in ((2, mine.mean), (3, mine.minimum), (4, mine.maximum)):
            same(float(column[usable].sum()), math.fsum(row[place] for row in theirs), "sum")
    cores = pa.cpu_count()
    pa.set_cpu_count(1)  # the bar is for one core
    try:
        plain_ms = 1000 * seconds(lambda: plain.minutes(*window))
        more = [1000 * seconds(ask) for ask in influx_way(influx, lambda i: i.minutes(*window))]
        (raw_ms,) = in_turn(lambda: raw.rollup(paths, *window, MINUTE_NS))
        (rolled_ms,) = in_turn(lambda: store.rollup(paths, *window, MINUTE_NS))
    finally:
        pa.set_cpu_count(cores)
    what = f"1-minute mean/min/max, 200 tags x {data.hours} h"
    limits = (600.0, 50.0) if not data.quick else (None, None)
    yield time_figure(f"{what}, from raw, ms", raw_ms, plain_ms, 15.0, limits[0], data, more)
    bar = 20.0 if data.quick else 180.0
    yield time_figure(f"{what}, from rollups, ms", rolled_ms, plain_ms, bar, limits[1], data, more)


def in_turn(*ways: Callable[[], object]) -> tuple[float, ...]:
    """Milliseconds of each way, medians of five, in turns; one round before that warms them all."""
    for way in ways:
        way()
    return tuple(1000 * s for s in medians(*((lambda way=way: seconds(way)) for way in ways)))  # type: ignore[misc]


def influx_way(
    influx: InfluxBeside | None, ask: Callable[[InfluxBeside], object]
) -> list[Callable[[], object]]:
    """The question to InfluxDB, where there is one."""
    return [] if influx is None else [lambda: ask(influx)]


def time_figure(
    name: str,
    ours_ms: float,
    plain_ms: float,
    bar: float,
    limit: float | None,
    data: Prepared,
    influx_ms: list[float],
) -> Figure:
    """A time with both its bars, InfluxDB's beside."""
    beside: Mapping[str, float] = {"InfluxDB 1.6": influx_ms[0]} if influx_ms else {}
    return Figure(name, ours_ms, plain_ms, bar, True, data.quick, limit, beside)


def same(mine: float, theirs: float, what: str) -> None:
    """Refuse to time ways that give different answers.

    Raises:
        RuntimeError: they differ.
    """
    if not math.isclose(mine, theirs, rel_tol=1e-9):
        raise RuntimeError(f"{what}: ours {mine}, the plain table's {theirs}")


def _number(path: str) -> int:
    return next(t.id for t in tags() if t.path == path)
