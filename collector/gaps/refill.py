"""A piece of a tag's history: what of it is kept, and which marks and held values go with it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from collector.gaps.marks import MARK_AFTER_NS, Gap
from historian.frame import Series
from historian.quality import BAD, HELD, NO_DATA

_INFO = 0x0000_FFFF
"""The info bits of a StatusCode. Source: OPC 10000-4, 7.39.1."""


def fill(gap: Gap, found: Series) -> tuple[Series, Gap | None]:
    """What to keep of a piece of a tag's history, and the gap that is left behind it.

    Returns:
        the samples that lie in the gap, with the marks and held values that go with them; and what is still
        unknown: None when the history goes right up to the gap's end.
    """
    found = within(found, gap.since_ns, gap.until_ns)
    if not len(found):
        return found, gap
    extra: dict[int, tuple[float, int]] = {}
    times = found.time_ns
    first_ns, last_ns = int(times[0]), int(times[-1])
    if gap.lasting and gap.mark_ns >= first_ns > gap.since_ns + 1:
        # What is lost is lost before the first of these, and there the mark belongs.
        extra[(gap.since_ns + first_ns) // 2] = (math.nan, NO_DATA)
    stays = last_ns < gap.mark_ns or (gap.lasting and gap.mark_ns < first_ns)
    if not stays and gap.mark_ns not in times:
        held = _held(gap, found)
        stays = held is None
        if held is not None:
            extra[gap.mark_ns] = held
    mark_ns = gap.mark_ns
    if last_ns >= gap.mark_ns:
        mark_ns = min(last_ns + MARK_AFTER_NS, gap.until_ns - 1)
        if mark_ns > last_ns:
            extra[mark_ns] = (math.nan, NO_DATA)
    left = replace(
        gap,
        since_ns=last_ns,
        value=float(found.value[-1]),
        quality=int(found.quality[-1]),
        mark_ns=mark_ns,
        lasting=False,
    )
    return _with(found, extra), left if mark_ns > last_ns else None


def close(gap: Gap) -> Series:
    """What is kept when nothing is missing between the last sample and the gap's end: the value held."""
    held = None if gap.lasting else _held(gap, Series.empty())
    return Series.empty() if held is None else Series.of([gap.mark_ns], [held[0]], [held[1]])


def _held(gap: Gap, found: Series) -> tuple[float, int] | None:
    """The value that held at the mark, as what it is: not measured; None when none is known."""
    place = int(np.searchsorted(found.time_ns, gap.mark_ns)) - 1
    if place >= 0:
        value, quality = float(found.value[place]), int(found.quality[place])
    else:
        value, quality = gap.value, gap.quality
    if quality == NO_DATA:
        return None
    return (math.nan, quality) if quality & BAD else (value, quality & ~_INFO | HELD)


def within(found: Series, since_ns: int, until_ns: int) -> Series:
    """The samples between two moments, by time, each time once: the last one told counts."""
    order = np.argsort(found.time_ns, kind="stable")
    times = found.time_ns[order]
    keep = (times > since_ns) & (times < until_ns)
    keep[:-1] &= times[1:] != times[:-1]
    which = order[keep]
    return Series(found.time_ns[which], found.value[which], found.quality[which])


def _with(found: Series, extra: Mapping[int, tuple[float, int]]) -> Series:
    if not extra:
        return found
    times = np.concatenate((found.time_ns, np.array(list(extra), dtype=np.int64)))
    values = np.concatenate((found.value, np.array([v for v, _ in extra.values()])))
    qualities = np.concatenate((found.quality, np.array([q for _, q in extra.values()], dtype=np.uint32)))
    order = np.argsort(times, kind="stable")
    return Series(times[order], values[order], qualities[order])


def joined(one: Series, other: Series) -> Series:
    """One after the other; at the same time the other counts."""
    if not len(one) or not len(other):
        return one if len(one) else other
    mine = ~np.isin(one.time_ns, other.time_ns)
    return Series(
        np.concatenate((one.time_ns[mine], other.time_ns)),
        np.concatenate((one.value[mine], other.value)),
        np.concatenate((one.quality[mine], other.quality)),
    )
