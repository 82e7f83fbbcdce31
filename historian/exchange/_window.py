"""A window of a store as lots of rows: raw as it is kept, or one row an interval."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from historian.aggregates import Aggregate
from historian.errors import UnknownUnit, WrongInput
from historian.frame import NS, Series
from historian.store import Store
from historian.tags import Tag, TagKind
from historian.units import difference_unit

# Read or made at once; keeps memory flat whatever the window.
_SAMPLES_AT_ONCE: Final = 500_000
_ROWS_AT_ONCE: Final = 100_000
_LONGEST_READ_NS: Final = 6 * 3600 * NS
_CELLS_AT_ONCE: Final = 2_000_000

_COUNTS: Final = frozenset({Aggregate.COUNT, Aggregate.NUMBER_OF_TRANSITIONS, Aggregate.ANNOTATION_COUNT})
_MILLISECONDS: Final = frozenset(
    {
        Aggregate.DURATION_GOOD,
        Aggregate.DURATION_BAD,
        Aggregate.DURATION_IN_STATE_ZERO,
        Aggregate.DURATION_IN_STATE_NON_ZERO,
    }
)
_PERCENTS: Final = frozenset({Aggregate.PERCENT_GOOD, Aggregate.PERCENT_BAD})
_TOTALS: Final = frozenset({Aggregate.TOTAL, Aggregate.TOTAL_2})
_SQUARES: Final = frozenset({Aggregate.VARIANCE_SAMPLE, Aggregate.VARIANCE_POPULATION})
_CODES: Final = frozenset({Aggregate.WORST_QUALITY, Aggregate.WORST_QUALITY_2})
_DIFFERENCES: Final = frozenset(
    {
        Aggregate.RANGE,
        Aggregate.RANGE_2,
        Aggregate.DELTA,
        Aggregate.DELTA_BOUNDS,
        Aggregate.STANDARD_DEVIATION_SAMPLE,
        Aggregate.STANDARD_DEVIATION_POPULATION,
    }
)


@dataclass(frozen=True, slots=True)
class Window:
    """What is to be written out.

    Attributes:
        paths: of the tags, in the order of the columns.
        start_ns, end_ns: UTC nanoseconds; start ≤ time < end.
        interval_ns: length of an interval; 0 for raw samples.
        aggregate: one number an interval; None for raw samples.
    """

    paths: tuple[str, ...]
    start_ns: int
    end_ns: int
    interval_ns: int = 0
    aggregate: Aggregate | None = None

    def __post_init__(self) -> None:
        if not self.paths:
            raise WrongInput("no tag is named: name one or more to be written out")
        if len(set(self.paths)) < len(self.paths):
            raise WrongInput("a tag is named twice: name each once")
        if self.end_ns <= self.start_ns:
            raise WrongInput("the window ends before it begins: give a start before the end")
        if (self.aggregate is None) != (self.interval_ns == 0) or self.interval_ns < 0:
            raise WrongInput(
                "an aggregate needs an interval, and raw samples have none: give both or neither"
            )


def tags_of(store: Store, window: Window) -> list[Tag]:
    """The window's tags, with the unit that its numbers have: a count has no unit, a duration is in ms.

    Raises:
        UnknownTag: naming the path and the nearest known one.
    """
    store.read(window.paths, window.start_ns, window.start_ns)
    known = store.tags()
    return [_as_written(known[path], window.aggregate) for path in window.paths]


def _as_written(tag: Tag, kind: Aggregate | None) -> Tag:
    if kind is None:
        return tag
    unit, reference = _unit_of(tag, kind)
    text = f"{tag.text or tag.path} ({kind})"
    codes = {} if unit != tag.unit else tag.codes
    held = TagKind.ANALOG if kind in _COUNTS | _MILLISECONDS | _PERCENTS else tag.kind
    return replace(tag, unit=unit, reference=reference, text=text, codes=codes, kind=held)


def _unit_of(tag: Tag, kind: Aggregate) -> tuple[str, str]:
    """(unit, reference) of an aggregate's numbers; a difference of temperatures is no temperature."""
    if kind in _COUNTS | _CODES:
        return "1", ""
    if kind in _MILLISECONDS:
        return "ms", ""
    if kind in _PERCENTS:
        return "%", ""
    if kind in _TOTALS:
        return f"{tag.unit}.s" if tag.unit != "1" else "s", ""
    if kind in _DIFFERENCES:
        return _difference(tag.unit), ""
    if kind in _SQUARES:
        return f"({_difference(tag.unit).removesuffix('{diff}')})2" if tag.unit != "1" else "1", ""
    return tag.unit, tag.reference


def _difference(unit: str) -> str:
    """The unit of a difference; a store may hold units that this release does not know."""
    try:
        return difference_unit(unit)
    except UnknownUnit:
        return unit


def lots(store: Store, window: Window) -> Iterator[dict[str, Series]]:
    """The window's samples by tag, a piece of time at once, in order, so that memory stays bounded."""
    if window.aggregate is None:
        yield from store.blocks(window.paths, window.start_ns, window.end_ns, samples=_SAMPLES_AT_ONCE)
        return
    start, step = window.start_ns, _aggregate_step(window)
    while start < window.end_ns:
        # Cut between intervals alone: the store finds the bounds of each beyond the cut.
        end = min(start + step, window.end_ns)
        yield {path: _aggregated(store, window, window.aggregate, path, start, end) for path in window.paths}
        start = end


def _aggregate_step(window: Window) -> int:
    """As many whole intervals as give few rows and read few samples."""
    rows = max(1, _ROWS_AT_ONCE // len(window.paths))
    return window.interval_ns * max(1, min(rows, _LONGEST_READ_NS // window.interval_ns))


def _aggregated(
    store: Store, window: Window, kind: Aggregate, path: str, start_ns: int, end_ns: int
) -> Series:
    rows = store.aggregate(path, start_ns, end_ns, window.interval_ns, kind)
    return Series.of([r.time_ns for r in rows], [r.value for r in rows], [r.quality for r in rows])


@dataclass(frozen=True, slots=True)
class Grid:
    """Samples of several tags side by side, one row a time.

    Attributes:
        time_ns: rising, shape (n,).
        value: NaN where a tag has no value at that time, shape (n, tags).
        quality: OPC UA StatusCode, shape (n, tags).
        present: whether the tag has a sample at that time, shape (n, tags).
    """

    time_ns: NDArray[np.int64]
    value: NDArray[np.float64]
    quality: NDArray[np.uint32]
    present: NDArray[np.bool_]


def side_by_side(found: dict[str, Series], paths: Sequence[str]) -> Iterator[Grid]:
    """One row for every time at which any tag has a sample; nothing is carried over or interpolated.

    Of two samples of a tag at one time (from two clock epochs) the later one stands in the row. Rows come in
    grids of bounded size: tags with stamps of their own make many rows, nearly empty ones.
    """
    times = np.unique(np.concatenate([found[p].time_ns for p in paths]))
    rows = max(1, _CELLS_AT_ONCE // len(paths))
    for first in range(0, len(times), rows):
        yield _grid(found, paths, times[first : first + rows])


def _grid(found: dict[str, Series], paths: Sequence[str], times: NDArray[np.int64]) -> Grid:
    shape = (len(times), len(paths))
    value, quality, present = np.full(shape, np.nan), np.zeros(shape, np.uint32), np.zeros(shape, np.bool_)
    for k, path in enumerate(paths):
        series = found[path]
        here = slice(*np.searchsorted(series.time_ns, [times[0], times[-1] + 1]).tolist())
        rows = np.searchsorted(times, series.time_ns[here])
        value[rows, k], quality[rows, k], present[rows, k] = series.value[here], series.quality[here], True
    return Grid(times, value, quality, present)
