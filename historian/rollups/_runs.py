"""Runs of neighbouring rows that share tag and interval; what is first, last, lowest and highest in each."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import TagIds, Times
from historian.quality import Mask

Rows = NDArray[np.intp]


class Runs:
    """Runs of neighbouring rows that share tag and interval."""

    def __init__(self, tag: TagIds, start_ns: Times) -> None:
        new = np.ones(len(tag), dtype=np.bool_)
        new[1:] = (tag[1:] != tag[:-1]) | (start_ns[1:] != start_ns[:-1])
        self.edges = np.flatnonzero(new)
        self.size = len(tag)
        self.tag, self.start_ns = tag[self.edges], start_ns[self.edges]
        self._lengths = np.diff(np.append(self.edges, self.size))

    def spread(self, column: NDArray[Any]) -> NDArray[Any]:
        """A column of one row a run, repeated for each row inside."""
        return np.repeat(column, self._lengths)

    def first(self, mask: Mask) -> Rows:
        """Row of the first hit in each run; the number of rows where there is none."""
        hits = np.append(np.flatnonzero(mask), self.size)
        found = hits[np.searchsorted(hits, self.edges)]
        return np.where(found < self.edges + self._lengths, found, self.size)

    def last(self, mask: Mask) -> Rows:
        """Row of the last hit in each run; the number of rows where there is none."""
        hits = np.append(-1, np.flatnonzero(mask))
        found = hits[np.searchsorted(hits, self.edges + self._lengths) - 1]
        return np.where(found >= self.edges, found, self.size)

    def pick(self, column: NDArray[Any], rows: Rows, otherwise: Any) -> NDArray[Any]:
        """The column at the rows, ``otherwise`` where there is no row."""
        there = rows < self.size
        return np.where(there, column[np.where(there, rows, 0)], otherwise)

    def lowest(self, column: NDArray[Any], mask: Mask) -> Rows:
        """Row of each run's first lowest number among the hits; the number of rows where there is no hit."""
        return self.first(mask & (column == self.spread(np.minimum.reduceat(column, self.edges))))

    def highest(self, column: NDArray[Any], mask: Mask) -> Rows:
        """Row of each run's first highest number among the hits; the number of rows where there is no hit."""
        return self.first(mask & (column == self.spread(np.maximum.reduceat(column, self.edges))))

    def sums(self, column: NDArray[Any]) -> NDArray[Any]:
        """Sum of each run."""
        found: NDArray[Any] = np.add.reduceat(column, self.edges)
        return found
