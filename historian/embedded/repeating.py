"""A column of a row, written short where it repeats itself; pure.

Samples of one scan share their time, samples of one tag their number, and nearly all are of good quality: of
the 24 bytes that a sample takes, two thirds say again what was said before.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

Column = NDArray[Any]

_TIMES = np.dtype("<u4")


class Form(IntEnum):
    """How a column is written; the numbers stand on disk."""

    WHOLE = 0  # number after number
    RUNS = 1  # of numbers alike that follow each other one, and behind all of these how many they are
    CYCLE = 2  # the first ones, which then come again and again


def short(column: Column, period: int) -> tuple[Form, int, list[Column]]:
    """A column as it is to be written.

    Args:
        column: shape (n,), of whole numbers.
        period: after how many it may come again from the start; 0 when nothing speaks for it.

    Returns:
        the form, how many numbers are written, and what is written: the numbers, and for runs their lengths.

    Example:
        >>> form, n, parts = short(np.array([5, 5, 5, 5, 7, 7]), 0)
        >>> form.name, n, [p.tolist() for p in parts]
        ('RUNS', 2, [[5, 7], [4, 2]])
        >>> form, n, parts = short(np.array([5, 6, 7, 5, 6, 7]), 3)
        >>> form.name, n, [p.tolist() for p in parts]
        ('CYCLE', 3, [[5, 6, 7]])
    """
    samples = len(column)
    ends = np.flatnonzero(column[1:] != column[:-1])
    if 2 * (len(ends) + 1) <= samples:
        ends = np.append(ends, samples - 1)
        return Form.RUNS, len(ends), [column[ends], np.diff(ends, prepend=-1).astype(_TIMES)]
    if 0 < period < samples and np.array_equal(column[period:], column[:-period]):
        return Form.CYCLE, period, [column[:period]]
    return Form.WHOLE, samples, [column]


def first_run(column: Column) -> int:
    """How many numbers at the start are alike.

    Example:
        >>> first_run(np.array([3, 3, 4, 3])), first_run(np.array([3, 3])), first_run(np.array([]))
        (2, 2, 0)
    """
    other = column != column[:1]
    return int(other.argmax()) if other.any() else len(column)


def first_return(column: Column) -> int:
    """Where the first number comes again; 0 when it does not.

    Example:
        >>> first_return(np.array([1, 2, 3, 1, 2])), first_return(np.array([1, 2]))
        (3, 0)
    """
    again = column[1:] == column[:1]
    return int(again.argmax()) + 1 if again.any() else 0


def size_byte(form: int, numbers: int, dtype: np.dtype[Any]) -> int:
    """Bytes that a column takes."""
    return numbers * (dtype.itemsize + (_TIMES.itemsize if form == Form.RUNS else 0))


def whole(body: bytes, at: int, form: int, numbers: int, dtype: np.dtype[Any], samples: int) -> Column:
    """The column that was written short.

    Args:
        at: first byte of it.
        numbers: how many are written.
        samples: how many there are.

    Raises:
        ValueError: it does not give so many.
    """
    column = np.frombuffer(body, dtype, numbers, at)
    if form == Form.RUNS:
        column = np.repeat(column, np.frombuffer(body, _TIMES, numbers, at + numbers * dtype.itemsize))
    elif form == Form.CYCLE:
        column = np.resize(column, samples)
    if len(column) != samples:
        raise ValueError(f"{len(column)} numbers for {samples} samples")
    return column
