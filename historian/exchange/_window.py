"""A window of a store as lots of rows: raw as it is kept, or one row an interval."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from historian.aggregates import Aggregate
from historian.errors import WrongInput
from historian.frame import NS, Series
from historian.store import Store
from historian.tags import Tag, TagKind

# Read at once; keeps memory flat whatever the window.
_SAMPLES_AT_ONCE: Final = 1_000_000
_FIRST_SLICE_NS: Final = 600 * NS

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
    """(unit, reference) of an aggregate's numbers; a difference of temperatures is in kelvin."""
    if kind in _COUNTS | _CODES:
        return "1", ""
    if kind in _MILLISECONDS:
        return "ms", ""
    if kind in _PERCENTS:
        return "%", ""
    base = {"Cel": "K"}.get(tag.unit, tag.unit) if kind in _DIFFERENCES | _SQUARES else tag.unit
    if kind in _TOTALS:
        return f"{base}.s" if base != "1" else "s", ""
    if kind in _SQUARES:
        return f"({base})2" if base != "1" else "1", ""
    return base, "" if kind in _DIFFERENCES else tag.reference


def lots(store: Store, window: Window) -> Iterator[dict[str, Series]]:
    """The window's samples by tag, a slice of time at a time, in order.

    A slice is as long as the last one says that about a million samples take.
    """
    start, step = window.start_ns, _FIRST_SLICE_NS
    if window.aggregate is not None:
        # In one piece: at a cut, an interval would lack the neighbours that its bounds are made from.
        step = window.end_ns - window.start_ns
    while start < window.end_ns:
        end = min(start + step, window.end_ns)
        found = _slice(store, window, start, end)
        if any(len(s) for s in found.values()):
            yield found
        if window.aggregate is None:
            step = _next_step(step, sum(len(s) for s in found.values()))
        start = end


def _next_step(step: int, samples: int) -> int:
    """Twice as long at most, so that a busy hour after a quiet day does not fill the memory."""
    wanted = step * _SAMPLES_AT_ONCE // max(samples, 1)
    return max(min(wanted, step * 2), NS)


def _slice(store: Store, window: Window, start_ns: int, end_ns: int) -> dict[str, Series]:
    if window.aggregate is None:
        return store.read(window.paths, start_ns, end_ns)
    found = {}
    for path in window.paths:
        rows = store.aggregate(path, start_ns, end_ns, window.interval_ns, window.aggregate)
        found[path] = Series.of([r.time_ns for r in rows], [r.value for r in rows], [r.quality for r in rows])
    return found


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


def side_by_side(found: dict[str, Series], paths: Sequence[str]) -> Grid:
    """One row for every time at which any tag has a sample; nothing is carried over or interpolated.

    Of two samples of a tag at one time (from two clock epochs) the later one stands in the row.
    """
    times = np.unique(np.concatenate([found[p].time_ns for p in paths]))
    shape = (len(times), len(paths))
    value, quality, present = np.full(shape, np.nan), np.zeros(shape, np.uint32), np.zeros(shape, np.bool_)
    for k, path in enumerate(paths):
        series = found[path]
        rows = np.searchsorted(times, series.time_ns)
        value[rows, k], quality[rows, k], present[rows, k] = series.value, series.quality, True
    return Grid(times, value, quality, present)
