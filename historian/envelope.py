"""The outline of a long series for a picture: first, minimum, maximum and last sample a pixel column."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from historian.errors import WrongInput
from historian.frame import Qualities, Series, Times, Values
from historian.quality import is_bad


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
    breaks = np.flatnonzero(bad & np.concatenate(([True], ~bad[:-1])))
    good = np.flatnonzero(~bad)
    kept = np.union1d(_corners(time_ns[good], value[good], start_ns, end_ns, columns, good), breaks)
    return Envelope(time_ns[kept], np.where(bad[kept], np.nan, value[kept]), quality[kept], samples)


def _corners(
    time_ns: Times,
    value: Values,
    start_ns: int,
    end_ns: int,
    columns: int,
    index: np.ndarray[tuple[int], np.dtype[np.int64]],
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Index of first, minimum, maximum and last of each pixel column, for samples that have a value."""
    if len(time_ns) == 0:
        return index
    column = ((time_ns - start_ns).astype(np.float64) * (columns / (end_ns - start_ns))).astype(np.int64)
    starts = np.flatnonzero(np.diff(column, prepend=-1))
    ends = np.append(starts[1:], len(column))
    # Sorting by (column, value) puts each column's minimum first and its maximum last.
    order = np.lexsort((value, column))
    return np.unique(
        np.concatenate((index[starts], index[ends - 1], index[order[starts]], index[order[ends - 1]]))
    )
