"""Reads a window of any length without holding it all, and looks beyond its edges; for any store."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, Protocol

import numpy as np

from historian.frame import NS, Series
from historian.quality import is_good

_FIRST_STEP_NS: Final = 600 * NS
# A dense stretch may follow an empty one, and is to fit into memory at once.
_LONGEST_STEP_NS: Final = 6 * 3600 * NS
_LONGEST_EMPTY_NS: Final = 1800 * NS
_FIRST_REACH_NS: Final = 900 * NS
_FARTHER: Final = 16

Span = tuple[int, int] | None


class Read(Protocol):
    """A store's ``read``."""

    def __call__(self, paths: Sequence[str], start_ns: int, end_ns: int, /) -> dict[str, Series]: ...


def piecewise(
    read: Read, paths: Sequence[str], start_ns: int, end_ns: int, *, span: Span, samples: int
) -> Iterator[dict[str, Series]]:
    """The samples of a window in order of time, about so many at once; pieces without any are left out.

    Args:
        span: first and last source time that the store holds; None when it is empty.
    """
    if span is None:
        return
    at, end = max(start_ns, span[0]), min(end_ns, span[1] + 1)
    step_ns = _FIRST_STEP_NS
    while at < end:
        upto = min(at + step_ns, end)
        found = read(paths, at, upto)
        held = sum(map(len, found.values()))
        if held:
            yield found
        room = 2.0 if held == 0 else min(2.0, samples / held)
        longest = _LONGEST_STEP_NS if held else _LONGEST_EMPTY_NS
        step_ns = max(NS, min(int(step_ns * room), max(longest, step_ns if held else 0)))
        at = upto


def reaching(read: Read, path: str, start_ns: int, end_ns: int, *, span: Span, before: int = 1) -> Series:
    """One tag's samples in [start, end), with what lies around it up to the nearest good ones.

    Looks near first, then farther and farther, because the neighbour of a silent tag may be months away.

    Args:
        before: good samples to be found before the start; two make a line that can be drawn on.
    """
    if span is None:
        return Series.empty()
    inside = read([path], start_ns, end_ns)[path]
    first, last = span
    parts = [inside]
    at, reach_ns, held = start_ns, _FIRST_REACH_NS, 0
    while at > first:
        low = max(first, at - reach_ns)
        found = read([path], low, at)[path]
        parts.insert(0, found)
        held += _usable(found)
        if held >= before:
            break
        at, reach_ns = low, reach_ns * _FARTHER
    at, reach_ns = end_ns, _FIRST_REACH_NS
    while at <= last:
        high = min(last + 1, at + reach_ns)
        found = read([path], at, high)[path]
        parts.append(found)
        if _usable(found):
            break
        at, reach_ns = high, reach_ns * _FARTHER
    return Series(
        np.concatenate([p.time_ns for p in parts]),
        np.concatenate([p.value for p in parts]),
        np.concatenate([p.quality for p in parts]),
    )


def _usable(series: Series) -> int:
    """How many samples are good and hold a number: what has none is bad to an aggregate."""
    return int(np.count_nonzero(is_good(series.quality) & ~np.isnan(series.value)))
