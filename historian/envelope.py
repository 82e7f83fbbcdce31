"""The outline of a long series for a picture: first, minimum, maximum and last sample a pixel column."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from historian.errors import WrongInput
from historian.frame import Qualities, Series, Times, Values
from historian.quality import Mask, is_bad


@dataclass(frozen=True, slots=True)
class Envelope:
    """What a picture of ``columns`` pixel columns needs, and nothing more.

    Attributes:
        time_ns: source times of the kept samples, rising, shape (m,), m ≤ 4·columns + gaps.
        value: their values; NaN where a gap begins, shape (m,).
        quality: their qualities, shape (m,).
        samples: how many samples the window holds.
    """

    time_ns: Times
    value: Values
    quality: Qualities
    samples: int


def envelope_of(series: Series, start_ns: int, end_ns: int, columns: int) -> Envelope:
    """The outline of a series: exact to the pixel, with every gap kept.

    Bad samples carry no value; the first of each bad run stays as a NaN, so that the line breaks there.

    Args:
        series: samples sorted by time; samples outside the window are passed over.
        columns: pixel columns of the picture, at least 1.

    Raises:
        WrongInput: an empty window or fewer than one column.

    Source: M4 aggregation, Jugel et al., Proc. VLDB 7 (2014) 797–808.
    """
    if end_ns <= start_ns or columns < 1:
        raise WrongInput(f"an envelope needs an end after its start and at least one column, not {columns}")
    inside = slice(*np.searchsorted(series.time_ns, [start_ns, end_ns], side="left"))
    time_ns, value, quality = series.time_ns[inside], series.value[inside], series.quality[inside]
    samples = len(time_ns)
    if samples <= 4 * columns:
        bad = is_bad(quality)
        return Envelope(time_ns, np.where(bad, np.nan, value), quality, samples)
    bad = is_bad(quality) | np.isnan(value)
    chosen = bad & np.concatenate(([True], ~bad[:-1]))
    good = np.flatnonzero(~bad) if bad.any() else slice(None)
    chosen[good] = _corners(time_ns[good], value[good], column_edges(start_ns, end_ns, columns))
    kept = np.flatnonzero(chosen)
    return Envelope(time_ns[kept], np.where(bad[kept], np.nan, value[kept]), quality[kept], samples)


def column_edges(start_ns: int, end_ns: int, columns: int) -> Times:
    """Where each pixel column begins, and the last one ends: whole nanoseconds, shape (columns + 1,).

    Example:
        >>> column_edges(0, 10, 4).tolist()
        [0, 3, 5, 8, 10]
    """
    whole, rest = divmod(end_ns - start_ns, columns)
    place = np.arange(columns + 1, dtype=np.int64)
    # Rounded up, without a product of the whole span, which might not fit into 64 bits.
    return start_ns + place * whole + -(-(place * rest) // columns)


def _corners(time_ns: Times, value: Values, edges: Times) -> Mask:
    """Which samples are first, smallest, largest or last of their pixel column.

    Of equal ones the first smallest and the last largest, so that what is drawn between them is the same.
    """
    chosen = np.zeros(len(value), dtype=np.bool_)
    cuts = np.searchsorted(time_ns, edges, side="left")
    starts = cuts[:-1][cuts[1:] > cuts[:-1]]
    if len(starts) == 0:
        return chosen
    sizes = np.diff(np.append(starts, len(time_ns)))
    smallest = np.flatnonzero(value == np.repeat(np.minimum.reduceat(value, starts), sizes))
    largest = np.flatnonzero(value == np.repeat(np.maximum.reduceat(value, starts), sizes))
    chosen[starts] = True
    chosen[starts + sizes - 1] = True
    chosen[smallest[np.searchsorted(smallest, starts, side="left")]] = True
    chosen[largest[np.searchsorted(largest, starts + sizes, side="left") - 1]] = True
    return chosen
