"""A picture's outline from rollups instead of raw samples, for windows too long to read whole."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from historian.envelope import Envelope, envelope_of
from historian.errors import WrongInput
from historian.frame import Qualities, Series, Times, Values
from historian.quality import GOOD, UNCERTAIN, Mask
from historian.rollups.columns import Rollup


@dataclass(frozen=True, slots=True)
class Piece:
    """A part [start_ns, end_ns) of a window, and whether rollups answer it."""

    start_ns: int
    end_ns: int
    is_rolled: bool


def interval_for(start_ns: int, end_ns: int, columns: int, kept_ns: Iterable[int]) -> int | None:
    """The longest interval kept that is no wider than a pixel column; None: draw from the raw samples.

    A point keeps its own time, so that a picture from such intervals is at most one pixel from the raw one.

    Raises:
        WrongInput: an empty window or fewer than one column.

    Example:
        >>> hour, day = 3_600_000_000_000, 86_400_000_000_000
        >>> interval_for(0, 90 * day, 2000, [hour // 60, hour]) == hour
        True
    """
    if end_ns <= start_ns or columns < 1:
        raise WrongInput(f"an envelope needs an end after its start and at least one column, not {columns}")
    return max((i for i in kept_ns if i * columns <= end_ns - start_ns), default=None)


def pieces(start_ns: int, end_ns: int, interval_ns: int, raw: Iterable[tuple[int, int]]) -> list[Piece]:
    """A window cut into what rollups answer and what raw samples must, in order.

    Args:
        raw: windows [start, end) that rollups do not answer: segments that are behind, the source times of
            frames that are not sealed yet. Torn intervals at the window's edges are raw by themselves.

    Example:
        >>> [(p.start_ns, p.end_ns, p.is_rolled) for p in pieces(5, 95, 10, [(42, 51)])]
        [(5, 10, False), (10, 40, True), (40, 60, False), (60, 90, True), (90, 95, False)]
    """
    low, high = -(-start_ns // interval_ns) * interval_ns, end_ns // interval_ns * interval_ns
    if low >= high:
        return [Piece(start_ns, end_ns, False)]
    torn = [(start_ns, low), (high, end_ns)]
    grown = [(a // interval_ns * interval_ns, -(-b // interval_ns) * interval_ns) for a, b in raw if a < b]
    found: list[Piece] = []
    at = start_ns
    for first, last in sorted([*grown, *torn]):
        a, b = max(first, at), min(last, end_ns)
        if a >= b:
            continue
        if at < a:
            found.append(Piece(at, a, True))
        if found and not found[-1].is_rolled:
            found[-1] = replace(found[-1], end_ns=b)
        else:
            found.append(Piece(a, b, False))
        at = b
    return [*found, Piece(at, end_ns, True)] if at < end_ns else found


def points_of(rollup: Rollup, *, column_ns: int | None = None) -> Series:
    """The samples that the rows of one tag hold: first, minimum, maximum, last; bad ones as NaN.

    A value's quality is good, or uncertain where any sample of its interval is: it is never told better than
    the sample was. Where an interval holds bad samples, the first and last of them stand as NaN with the
    interval's worst code, so that a line breaks there.

    Args:
        column_ns: width of a pixel column. Where bad samples lie farther apart than that, and there are more
            than the two that are known, the line breaks behind each point between them as well: nobody
            knows where the others are.
    """
    usable, bad = rollup.samples > rollup.bad, rollup.bad > 0
    quality = np.where(rollup.uncertain > 0, np.uint32(UNCERTAIN), np.uint32(GOOD))
    parts = [
        (getattr(rollup, f"{name}_ns")[usable], getattr(rollup, name)[usable], quality[usable])
        for name in ("first", "minimum", "maximum", "last")
    ]
    nothing = np.full(int(bad.sum()), np.nan)
    parts += [(times[bad], nothing, rollup.worst[bad]) for times in (rollup.bad_first_ns, rollup.bad_last_ns)]
    if column_ns is not None:
        parts += _breaks(rollup, (rollup.bad > 2) & (rollup.bad_last_ns - rollup.bad_first_ns > column_ns))
    time_ns, value, grade = (np.concatenate(column) for column in zip(*parts, strict=True))
    # Equal values of one time side by side, so that a sample that is two things at once stays once.
    order = np.lexsort((value, time_ns))
    time_ns, value, grade = time_ns[order], value[order], grade[order]
    again = (time_ns[1:] == time_ns[:-1]) & (
        (value[1:] == value[:-1]) | (np.isnan(value[1:]) & np.isnan(value[:-1]))
    )
    stays = np.concatenate((np.ones(min(len(value), 1), dtype=np.bool_), ~again))
    return Series(time_ns[stays], value[stays], grade[stays])


def _breaks(rollup: Rollup, chosen: Mask) -> list[tuple[Times, Values, Qualities]]:
    """A NaN right behind each point that lies between the first and the last bad sample of its row."""
    found = []
    for name in ("first", "minimum", "maximum", "last"):
        time_ns = getattr(rollup, f"{name}_ns")
        between = chosen & (time_ns > rollup.bad_first_ns) & (time_ns < rollup.bad_last_ns)
        found.append((time_ns[between] + 1, np.full(int(between.sum()), np.nan), rollup.worst[between]))
    return found


def rolled_envelope(parts: Sequence[Rollup | Series], start_ns: int, end_ns: int, columns: int) -> Envelope:
    """The outline of a window from its pieces: raw samples where needed, rows of rollups elsewhere.

    Args:
        parts: one tag's samples or rows of each piece (see ``pieces``), in order.
        columns: pixel columns of the picture, at least 1.

    Raises:
        WrongInput: an empty window or fewer than one column.
    """
    column_ns = (end_ns - start_ns) // columns if columns > 0 else 0
    points = [points_of(p, column_ns=column_ns) if isinstance(p, Rollup) else p for p in parts]
    points = points or [Series.empty()]
    series = Series(
        np.concatenate([p.time_ns for p in points]),
        np.concatenate([p.value for p in points]),
        np.concatenate([p.quality for p in points]),
    )
    outline = envelope_of(series, start_ns, end_ns, columns)
    samples = sum(int(p.samples.sum()) if isinstance(p, Rollup) else len(p) for p in parts)
    return replace(outline, samples=samples)
