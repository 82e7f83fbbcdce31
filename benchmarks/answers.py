"""Whether two ways gave the same answer: a way that answers something else is not worth timing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from historian.envelope import Envelope, column_edges
from historian.frame import Series

Table = NDArray[np.float64]
_SAME = 1e-9


class AnswersDiffer(RuntimeError):
    """Two ways gave different answers; says which question, and both."""


def table_of(rows: Iterable[Sequence[object]]) -> Table:
    """Rows as numbers, NaN where there is none, shape (n, k)."""
    return np.array(list(rows), dtype=np.float64)


def same_sums(mine: Table, theirs: Table, what: str) -> None:
    """Both have as many rows, as many numbers in each column, and the same sum over each.

    Raises:
        AnswersDiffer: they do not.
    """
    if mine.shape != theirs.shape:
        raise AnswersDiffer(f"{what}: {mine.shape} against {theirs.shape}")
    same_rows(_numbers(mine), _numbers(theirs), f"{what}, how many numbers")
    same_rows(np.nansum(mine, axis=0), np.nansum(theirs, axis=0), f"{what}, sums", within=_SAME)


def same_rows(mine: ArrayLike, theirs: ArrayLike, what: str, *, within: float = 0.0) -> None:
    """Both hold the same numbers in the same order, NaN where the other has NaN.

    Args:
        within: relative difference that the order of adding up may make.

    Raises:
        AnswersDiffer: naming the first place where they differ.
    """
    one, other = np.asarray(mine), np.asarray(theirs)
    if one.shape != other.shape:
        raise AnswersDiffer(f"{what}: {one.shape} against {other.shape}")
    alike = np.isclose(one, other, rtol=within, atol=0, equal_nan=True) if within else one == other
    if not within and one.dtype.kind == "f":
        alike |= np.isnan(one) & np.isnan(other)
    if not alike.all():
        at = int(np.flatnonzero(~alike)[0])
        raise AnswersDiffer(f"{what}: {one.flat[at]} against {other.flat[at]} at {at} of {one.size}")


def same_series(mine: Series, theirs: Series, what: str) -> None:
    """Both hold the same samples, to the nanosecond and the bit.

    Raises:
        AnswersDiffer: they do not.
    """
    for name in ("time_ns", "value", "quality"):
        same_rows(getattr(mine, name), getattr(theirs, name), f"{what}, {name}")


def extremes_of(outline: Envelope, start_ns: int, end_ns: int, columns: int) -> Table:
    """Smallest and largest value of each pixel column of an outline, NaN where it has none, (columns, 2)."""
    usable = ~np.isnan(outline.value)
    column = np.searchsorted(column_edges(start_ns, end_ns, columns), outline.time_ns, side="right") - 1
    return _extremes(column[usable], outline.value[usable], outline.value[usable], columns)


def extremes_in(buckets: Iterable[Sequence[float]], columns: int, *, a_column: int) -> Table:
    """The same from rows of bucket number, smallest and largest; ``a_column`` buckets make a column."""
    number, low, high = table_of(buckets).T
    return _extremes(number.astype(np.intp) // a_column, low, high, columns)


def same_within_a_column(rolled: Table, exact: Table, what: str) -> None:
    """An outline from rollups shows real samples only, and each extreme at most a pixel column away.

    Args:
        rolled, exact: smallest and largest value of each column, shape (columns, 2).

    Raises:
        AnswersDiffer: it shows what was not there, or an extreme is missing.
    """
    for place, name, outward in ((0, "smallest", np.fmin), (1, "largest", np.fmax)):
        mine, theirs = rolled[:, place], exact[:, place]
        same_rows(outward(mine, theirs), theirs, f"{what}, {name}")
        near = outward(outward(mine, np.append(mine[1:], np.nan)), np.append(np.nan, mine[:-1]))
        same_rows(outward(near, theirs), near, f"{what}, {name} beside")


def _numbers(table: Table) -> NDArray[np.intp]:
    counted: NDArray[np.intp] = np.sum(~np.isnan(table), axis=0, dtype=np.intp)
    return counted


def _extremes(column: NDArray[np.intp], low: Table, high: Table, columns: int) -> Table:
    found = np.full((columns, 2), (np.inf, -np.inf))
    np.minimum.at(found[:, 0], column, low)
    np.maximum.at(found[:, 1], column, high)
    found[np.isinf(found)] = np.nan
    return found
