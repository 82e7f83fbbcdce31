"""Gaps that an earlier run saw end and did not live to fill: read from their marks in the store."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from collector.gaps.marks import Gap
from collector.gaps.refill import joined
from collector.reading.mapping import SourceMapping
from historian.frame import NS, Series
from historian.quality import NO_DATA
from historian.store import Sample, Store

LOOK_BACK_NS: Final = 600 * NS
"""A gap is asked for as soon as it has ended; one that ended earlier than this was answered for."""

_BEFORE_MARK_NS: Final = 60 * NS
_FURTHER_NS: Final = tuple(hours * 3600 * NS for hours in (1, 4, 16, 64, 256))
_HISTORY: Final = "opc.tcp:"


def unfilled_gaps(
    store: Store, sources: Iterable[SourceMapping], newest: Mapping[str, Sample]
) -> dict[str, list[Gap]]:
    """The gaps of each source that ended shortly before its newest stored sample and are still marked.

    A gap that its source cannot fill keeps its mark; it is asked for once more, which changes nothing. Only
    sources that may remember something are looked at.

    Args:
        newest: the newest stored sample of each tag, by path.
    """
    known = store.tags()
    found: dict[str, list[Gap]] = {}
    for source in sources:
        paths = [t.path for t in source.tags if t.path in newest]
        if not paths or not source.endpoint.startswith(_HISTORY):
            continue
        last_ns = max(newest[p].time_ns for p in paths)
        stored = store.read(paths, last_ns - LOOK_BACK_NS, last_ns + 1, bound_before=True)
        late = [p for p in paths if stored[p].time_ns[0] > last_ns - LOOK_BACK_NS]
        for path, earlier in _before_that(store, late, last_ns - LOOK_BACK_NS).items():
            stored[path] = joined(earlier, stored[path])
        gaps = [g for p in paths for g in _gaps_of(store, p, known[p].id, stored[p])]
        if gaps:
            found[source.name] = gaps
    return found


def _gaps_of(store: Store, path: str, tag: int, series: Series) -> Iterator[Gap]:
    marks = np.flatnonzero(series.quality == NO_DATA)
    for place in marks[marks < len(series) - 1].tolist():
        if series.quality[place + 1] == NO_DATA:
            continue
        mark_ns, until_ns = int(series.time_ns[place]), int(series.time_ns[place + 1])
        before = series if place else _before(store, path, mark_ns)
        at = place - 1 if place else len(before) - 1
        if at < 0:
            yield Gap(tag, mark_ns - _BEFORE_MARK_NS, math.nan, NO_DATA, mark_ns, until_ns)
        else:
            since_ns, value = int(before.time_ns[at]), float(before.value[at])
            yield Gap(tag, since_ns, value, int(before.quality[at]), mark_ns, until_ns)


def _before(store: Store, path: str, mark_ns: int) -> Series:
    """The samples of the minute before a mark; the last one before that where there are none."""
    return store.read([path], mark_ns - _BEFORE_MARK_NS, mark_ns, bound_before=True)[path]


def _before_that(store: Store, paths: Sequence[str], start_ns: int) -> Mapping[str, Series]:
    """The samples of some tags around the last one before a time, which may lie days back.

    One tag tells where that is: the marks of a source stand close together.
    """
    for back_ns in _FURTHER_NS:
        last = store.read(paths[:1], start_ns - back_ns, start_ns) if paths else {}
        times = [int(s.time_ns[-1]) for s in last.values() if len(s)]
        if times:
            return store.read(paths, times[0] - _BEFORE_MARK_NS, min(times[0] + _BEFORE_MARK_NS, start_ns))
    return {}
