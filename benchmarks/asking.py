"""The questions that pages and reports put: to our store, a plain table, InfluxDB and DuckDB."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, nullcontext
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa

from benchmarks.answers import Table, extremes_in, extremes_of, same_rows, same_series, same_sums, table_of
from benchmarks.duckdb_beside import DUCKDB, DuckBeside, duckdb_of
from benchmarks.figure import Figure
from benchmarks.influx_beside import INFLUX, InfluxBeside
from benchmarks.plain_table import PlainTable
from benchmarks.prepared import Prepared
from benchmarks.reference_set import START_NS, tags
from benchmarks.turns import OURS, PLAIN, Bars, time_figure, timed
from historian.archive.manifest import HOUR_NS
from historian.embedded.store import EmbeddedStore
from historian.frame import Qualities, Times, Values
from historian.rollups.columns import MINUTE_NS, Rollup

TAG: Final = "bench.temperature.5.pv"
POINTS: Final = 2_000
COLUMNS: Final = POINTS // 4
BUCKETS: Final = POINTS // 2
"""Four samples a pixel column make so many points in ours, two a bucket in the others."""

OUTLINE_BARS: Final = {False: Bars(8.0, 2.5), True: Bars(1.0, 2.5)}
RAW_BARS: Final = Bars(7.8, 10.0)
# The plain table has a look-up of its key a tag; what counts is that no page ever waits for ours.
LATEST_BARS: Final = Bars(0.2, 5.0)
MINUTE_BARS: Final = {False: Bars(15.0, 600.0), True: Bars(6.0)}
ROLLED_BARS: Final = {False: Bars(180.0, 50.0), True: Bars(20.0)}
_ROLLED: Final = "ours, rolled"

Ways = dict[str, Callable[[], object]]


class Asking:
    """Our store, with rollups and without, and the others that hold the same data."""

    def __init__(self, data: Prepared, influx: InfluxBeside | None, stack: ExitStack) -> None:
        self.data = data
        self.window = (START_NS, data.end_ns)
        self.store = stack.enter_context(closing(EmbeddedStore.open(data.store, mode="read")))
        self.raw = stack.enter_context(closing(EmbeddedStore.open(data.raw, mode="read")))
        self.plain = stack.enter_context(closing(PlainTable(data.plain)))
        self.influx = influx
        self.duck: DuckBeside | None = stack.enter_context(duckdb_of(data.store) or nullcontext())


def figures(data: Prepared, influx: InfluxBeside | None) -> Iterator[Figure]:
    """Times in milliseconds."""
    with ExitStack() as stack:
        at = Asking(data, influx, stack)
        yield _outline(at)
        yield _raw(at)
        yield from _latest(at)
        yield from _minutes(at)


def _outline(at: Asking) -> Figure:
    number = next(t.id for t in tags() if t.path == TAG)
    drawn, held = at.raw.envelope(TAG, *at.window, COLUMNS), at.raw.read([TAG], *at.window)[TAG]
    same_rows([drawn.samples], [len(held)], "samples in the outline")
    corners = extremes_of(drawn, *at.window, COLUMNS)
    others: dict[str, Callable[[], Any]] = {
        PLAIN: lambda: at.plain.minimum_and_maximum(number, *at.window, BUCKETS)
    }
    if (influx := at.influx) is not None:
        others[INFLUX] = lambda: influx.minimum_and_maximum(TAG, *at.window, BUCKETS)
    if (duck := at.duck) is not None:
        others[DUCKDB] = lambda: duck.minimum_and_maximum(TAG, *at.window, BUCKETS)
    for name, ask in others.items():
        same_rows(corners, extremes_in(ask(), COLUMNS, a_column=BUCKETS // COLUMNS), f"outline, {name}")
    took_ms = timed({OURS: lambda: at.raw.envelope(TAG, *at.window, COLUMNS), **others})
    name = f"1 tag x {at.data.hours} h to {POINTS:,} points"
    return time_figure(name, took_ms, OUTLINE_BARS[at.data.quick], quick=at.data.quick)


def _raw(at: Asking) -> Figure:
    # Every fifth: of all scan groups, and one at 10 Hz.
    chosen = tags()[4::5]
    paths, numbers = [t.path for t in chosen], [t.id for t in chosen]
    window = (at.data.end_ns - HOUR_NS, at.data.end_ns)
    mine, theirs = at.store.read(paths, *window), at.plain.raw(numbers, *window)
    for path, number in zip(paths, numbers, strict=True):
        same_series(mine[path], theirs[number], path)
    ways: Ways = {OURS: lambda: at.store.read(paths, *window), PLAIN: lambda: at.plain.raw(numbers, *window)}
    summed = np.concatenate([_row_of(s.time_ns, s.value, s.quality) for s in mine.values()])
    if (influx := at.influx) is not None:
        rows = [(t - START_NS, v, q) for t, v, q in influx.raw(paths, *window)]
        same_sums(summed, table_of(rows), f"raw, {INFLUX}")
        ways[INFLUX] = lambda: influx.raw(paths, *window)
    if (duck := at.duck) is not None:
        same_sums(summed, _scans(duck.raw(paths, *window)), f"raw, {DUCKDB}")
        ways[DUCKDB] = lambda: duck.raw(paths, *window)
    return time_figure("40 tags x 1 h raw", timed(ways), RAW_BARS, quick=at.data.quick)


def _latest(at: Asking) -> Iterator[Figure]:
    paths = [t.path for t in tags()]
    mine, theirs = at.store.latest(paths), at.plain.newest()
    told = [(s.time_ns - START_NS, s.value, s.quality) for s in (mine[p] for p in paths)]
    same_rows(table_of(told), table_of((t - START_NS, v, q) for _, t, v, q in theirs), "newest")
    ways: Ways = {PLAIN: at.plain.newest}
    if (influx := at.influx) is not None:
        rows = [(t - START_NS, v, q) for t, q, v in influx.newest()]
        same_sums(table_of(told), table_of(rows), f"newest, {INFLUX}")
        ways[INFLUX] = influx.newest
    opened = "ours, opened"
    mine_ways: Ways = {OURS: lambda: at.store.latest(paths), opened: lambda: _anew(at.data.store, paths)}
    took_ms, quick = timed({**mine_ways, **ways}), at.data.quick
    for what, way in (("asked again", OURS), ("opened and asked", opened)):
        yield time_figure(f"last value of 200 tags, {what}", took_ms, LATEST_BARS, quick=quick, of=way)


def _minutes(at: Asking) -> Iterator[Figure]:
    paths = [t.path for t in tags()]
    theirs = table_of(at.plain.minutes(*at.window))
    for store in (at.raw, at.store):
        same_rows(_usable(store.rollup(paths, *at.window, MINUTE_NS)), theirs, "minutes", within=1e-9)
    ways: Ways = {
        OURS: lambda: at.raw.rollup(paths, *at.window, MINUTE_NS),
        _ROLLED: lambda: at.store.rollup(paths, *at.window, MINUTE_NS),
        PLAIN: lambda: at.plain.minutes(*at.window),
    }
    others: Ways = {}
    if (influx := at.influx) is not None:
        rows = table_of(row[1:] for row in influx.minutes(*at.window))
        same_sums(theirs[:, 2:], rows, f"minutes, {INFLUX}")
        others[INFLUX] = lambda: influx.minutes(*at.window)
    if (duck := at.duck) is not None:
        same_sums(theirs[:, 2:], _minute_rows(duck.minutes(*at.window)), f"minutes, {DUCKDB}")
        others[DUCKDB] = lambda: duck.minutes(*at.window)
    quick = at.data.quick
    with _one_core():
        # The others' seconds, five times, would be most of the quick form.
        took_ms = {**timed(ways), **timed(others, rounds=1)} if quick else timed({**ways, **others})
    what = f"1-minute mean/min/max, 200 tags x {at.data.hours} h"
    yield time_figure(f"{what}, from raw", took_ms, MINUTE_BARS[quick], quick=quick)
    yield time_figure(f"{what}, from rollups", took_ms, ROLLED_BARS[quick], quick=quick, of=_ROLLED)


@contextmanager
def _one_core() -> Iterator[None]:
    """As the bar asks; what Arrow does meanwhile, it does on one."""
    cores = pa.cpu_count()
    pa.set_cpu_count(1)
    try:
        yield
    finally:
        pa.set_cpu_count(cores)


def _anew(folder: Path, paths: list[str]) -> None:
    with closing(EmbeddedStore.open(folder, mode="read")) as fresh:
        fresh.latest(paths)


def _usable(found: Rollup) -> Table:
    """Tag, minute, mean, minimum and maximum of the minutes that have any, in the order of tag and time."""
    minute = found.start_ns // MINUTE_NS
    whole = np.column_stack([found.tag, minute, found.mean, found.minimum, found.maximum])
    return whole[found.samples > found.bad]


def _scans(found: list[dict[str, Any]]) -> Table:
    """Time, value and quality of each sample in DuckDB's columns."""
    parts = []
    for columns in found:
        time_ns = columns["time"].astype("datetime64[ns]").astype(np.int64)
        for path in (name for name in columns if f"{name}#quality" in columns):
            quality = columns[f"{path}#quality"]
            value = np.ma.filled(columns[path], np.nan)
            held = ~np.ma.getmaskarray(quality)
            parts.append(_row_of(time_ns, value, np.ma.filled(quality, 0))[held])
    return np.concatenate(parts)


def _row_of(time_ns: Times, value: Values, quality: Qualities) -> Table:
    """Time since the set's start, value and quality, to be added up: whole ms are exact here."""
    return np.column_stack([(time_ns - START_NS).astype(np.float64), value, quality.astype(np.float64)])


def _minute_rows(found: list[dict[str, Any]]) -> Table:
    """Mean, minimum and maximum of each tag and minute that has any."""
    parts = []
    for columns in found:
        for number in {name.split(".")[1] for name in columns if "." in name}:
            three = [np.ma.filled(columns[f"{n}.{number}"], np.nan) for n in ("mean", "minimum", "maximum")]
            parts.append(np.column_stack(three))
    whole: Table = np.concatenate(parts)
    return whole[~np.isnan(whole[:, 0])]
