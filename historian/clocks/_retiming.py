"""Where samples are stored whose times people fixed, and how they come together; pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from historian.clocks.record import ClockFix
from historian.frame import Series
from historian.piecewise import Span
from historian.quality import UNCERTAIN
from historian.store import Sample

Piece = tuple[int, int, int]
"""Stored times [start, end), and what is added to them."""


def pieces(fixes: Sequence[ClockFix], start_ns: int, end_ns: int) -> list[Piece]:
    """Where the samples that come out in [start, end) are stored; the pieces share no stored time."""
    pieces: list[Piece] = []
    at = start_ns
    for f in sorted(fixes, key=lambda f: f.start_ns):
        if at < min(f.start_ns, end_ns):
            pieces.append((at, min(f.start_ns, end_ns), 0))
        at = max(at, f.end_ns)
        low, high = max(f.start_ns, start_ns - f.shift_ns), min(f.end_ns, end_ns - f.shift_ns)
        if low < high:
            pieces.append((low, high, f.shift_ns))
    if at < end_ns:
        pieces.append((at, end_ns, 0))
    return pieces


def inhabited(
    groups: Iterable[Sequence[ClockFix]], span: Span, start_ns: int, end_ns: int
) -> list[tuple[int, int]]:
    """Where in [start, end) samples can come out at all, in order: a shift of a year leaves a year empty.

    Args:
        groups: the fixes of each source that is asked for; none for a source without.
        span: first and last stored time; None when nothing is stored.
    """
    if span is None:
        return []
    windows = sorted(
        (max(low, span[0]) + shift_ns, min(high, span[1] + 1) + shift_ns)
        for fixes in groups
        for low, high, shift_ns in pieces(fixes, start_ns, end_ns)
        if max(low, span[0]) < min(high, span[1] + 1)
    )
    apart: list[tuple[int, int]] = []
    for low, high in windows:
        if apart and low <= apart[-1][1]:
            apart[-1] = (apart[-1][0], max(high, apart[-1][1]))
        else:
            apart.append((low, high))
    return apart


def surely_newest(fixes: Sequence[ClockFix], stored: Sample) -> Sample | None:
    """The newest stored sample at its own new time, where no other one can come out later."""
    own = next((f for f in fixes if f.start_ns <= stored.time_ns < f.end_ns), None)
    time_ns = stored.time_ns + (own.shift_ns if own else 0)
    # Nothing is stored after it: what is not moved lies before its stretch.
    unmoved_ns = own.start_ns if own else stored.time_ns
    if time_ns < unmoved_ns or any(f.end_ns + f.shift_ns > time_ns for f in fixes if f is not own):
        return None
    return Sample(time_ns, stored.value, stored.quality, stored.arrival_ns)


def stretches(
    fixes: Sequence[ClockFix], start_ns: int, end_ns: int, interval_ns: int
) -> Iterator[tuple[int, int, bool]]:
    """The window cut, at whole intervals, into what fixes take samples from or to, and what they do not."""
    touched = sorted(
        (low // interval_ns * interval_ns, -(-high // interval_ns) * interval_ns)
        for f in fixes
        for low, high in ((f.start_ns, f.end_ns), (f.start_ns + f.shift_ns, f.end_ns + f.shift_ns))
    )
    at = start_ns
    for first, last in touched:
        low, high = max(first, at), min(last, end_ns)
        if low >= high:
            continue
        if at < low:
            yield at, low, False
        yield low, high, True
        at = high
    if at < end_ns:
        yield at, end_ns, False


def merged(parts: Sequence[Series]) -> Series:
    """The samples of all parts by time; of two that come to lie on one time none is better than uncertain."""
    whole = joined_series(parts)
    if len(parts) < 2:
        return whole
    order = np.argsort(whole.time_ns, kind="stable")
    time_ns, quality = whole.time_ns[order], whole.quality[order]
    same = np.flatnonzero(time_ns[1:] == time_ns[:-1])
    if len(same):
        twice = np.zeros(len(time_ns), dtype=np.bool_)
        twice[same] = twice[same + 1] = True
        quality = np.where(twice & (quality < UNCERTAIN), quality | np.uint32(UNCERTAIN), quality)
    return Series(time_ns, whole.value[order], quality)


def joined_series(parts: Sequence[Series]) -> Series:
    """One after the other."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return Series.empty()
    return Series(
        np.concatenate([p.time_ns for p in parts]),
        np.concatenate([p.value for p in parts]),
        np.concatenate([p.quality for p in parts]),
    )


def last_of(series: Series) -> Series:
    """Its last sample alone, or nothing."""
    return Series(series.time_ns[-1:], series.value[-1:], series.quality[-1:])
