"""Many samples of one source at once, as it sent them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from historian.frame import Qualities, TagIds, Times, Values

_T = TypeVar("_T", np.int64, np.float64, np.uint32)


@dataclass(frozen=True, slots=True)
class Columns:
    """Samples in the order in which they were sent.

    Attributes:
        tag: numbers of the tags, shape (n,).
        time_ns: source times, shape (n,).
        value: in each tag's unit, shape (n,).
        quality: OPC UA StatusCodes, shape (n,).
        resent: the source may have sent some of them before.
    """

    tag: TagIds
    time_ns: Times
    value: Values
    quality: Qualities
    resent: bool = False

    def __len__(self) -> int:
        return len(self.tag)

    @classmethod
    def of(cls, tag: ArrayLike, time_ns: ArrayLike, value: ArrayLike, quality: ArrayLike) -> Columns:
        """Columns from anything that numpy reads."""
        return cls(
            np.asarray(tag, dtype=np.int32),
            np.asarray(time_ns, dtype=np.int64),
            np.asarray(value, dtype=np.float64),
            np.asarray(quality, dtype=np.uint32),
        )

    def rows(self) -> Iterator[tuple[int, int, float, int, int]]:
        """One after the other: tag, time, value, quality, 0."""
        columns = (self.tag, self.time_ns, self.value, self.quality)
        tag, time_ns, value, quality = (c.tolist() for c in columns)
        return zip(tag, time_ns, value, quality, [0] * len(tag), strict=True)

    def by_tag(self) -> Columns:
        """The same by tag; those of one tag stay in the order in which they were sent."""
        if bool((self.tag[1:] >= self.tag[:-1]).all()):
            return self
        if (scan := self._scan()) is not None:
            order, scans = np.argsort(scan), len(self) // len(scan)

            def turned(column: NDArray[_T]) -> NDArray[_T]:
                return column.reshape(scans, -1).T[order].ravel()

            time_ns, value, quality = turned(self.time_ns), turned(self.value), turned(self.quality)
            return Columns(np.repeat(scan[order], scans), time_ns, value, quality, self.resent)
        return self.chosen(np.argsort(self.tag, kind="stable"))

    def _scan(self) -> TagIds | None:
        """The tags of a scan, when these are scans of the same tags in the same order, again and again."""
        tags = int((self.tag[1:] == self.tag[0]).argmax()) + 1
        if tags == 1 or len(self) % tags:
            return None
        scans = self.tag.reshape(-1, tags)
        scan: TagIds = scans[0]
        return scan if len(np.unique(scan)) == tags and bool((scans == scan).all()) else None

    def in_order(self) -> Columns:
        """The same by tag, then time; what has both alike stays in the order in which it was sent."""
        return self.chosen(np.lexsort((self.time_ns, self.tag)))

    def starts(self) -> NDArray[np.intp]:
        """Where each tag begins, in columns that are in order by tag."""
        return np.flatnonzero(np.concatenate(([True], self.tag[1:] != self.tag[:-1])))

    def chosen(self, which: NDArray[np.intp] | NDArray[np.bool_]) -> Columns:
        """Some of them, by place or by mask."""
        return Columns(
            self.tag[which], self.time_ns[which], self.value[which], self.quality[which], self.resent
        )

    @classmethod
    def joined(cls, parts: Sequence[Columns]) -> Columns:
        """One after the other; resent when one of them is."""
        if len(parts) == 1:
            return parts[0]
        return cls(
            np.concatenate([p.tag for p in parts]),
            np.concatenate([p.time_ns for p in parts]),
            np.concatenate([p.value for p in parts]),
            np.concatenate([p.quality for p in parts]),
            any(p.resent for p in parts),
        )


def one_before(column: NDArray[_T], starts: NDArray[np.intp], first: ArrayLike) -> NDArray[_T]:
    """What came before each number, in a column that is in order by tag; shape (n,).

    Args:
        starts: where each tag begins, shape (tags,).
        first: what came before there, shape (tags,).

    Example:
        >>> one_before(np.array([4, 5, 8, 9]), np.array([0, 2]), [1, 2]).tolist()
        [1, 4, 2, 8]
    """
    found = np.empty_like(column)
    found[1:] = column[:-1]
    found[starts] = first
    return found
