"""The one value type on the way of a sample: a columnar batch of samples."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from historian.errors import WrongInput

Times = NDArray[np.int64]
Values = NDArray[np.float64]
Qualities = NDArray[np.uint32]
TagIds = NDArray[np.int32]

NS: int = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Series:
    """The samples of one tag, sorted by source time.

    Attributes:
        time_ns: source time, UTC nanoseconds since 1970, shape (n,).
        value: in the tag's unit, NaN where the quality is bad, shape (n,).
        quality: OPC UA StatusCode, shape (n,).
    """

    time_ns: Times
    value: Values
    quality: Qualities

    def __len__(self) -> int:
        return len(self.time_ns)

    @classmethod
    def of(cls, time_ns: ArrayLike, value: ArrayLike, quality: ArrayLike) -> Series:
        """A series from anything that numpy reads; one quality may stand for all."""
        times = np.asarray(time_ns, dtype=np.int64)
        return cls(
            times,
            np.asarray(value, dtype=np.float64),
            np.broadcast_to(np.asarray(quality, dtype=np.uint32), times.shape),
        )

    @classmethod
    def empty(cls) -> Series:
        """A series without samples."""
        return cls.of([], [], [])


@dataclass(frozen=True, slots=True)
class Frame:
    """A batch of samples that reached the edge together.

    Attributes:
        tag: tag number within the line (see ``Tag.id``), shape (n,).
        time_ns: source time, UTC nanoseconds since 1970, shape (n,), rising within a tag.
        value: in the tag's canonical unit, NaN where there is none, shape (n,).
        quality: OPC UA StatusCode, shape (n,).
        arrival_ns: when the edge got the batch, UTC nanoseconds since 1970.
        clock_epoch: rises by one at each step of the source's clock.
    """

    tag: TagIds
    time_ns: Times
    value: Values
    quality: Qualities
    arrival_ns: int
    clock_epoch: int = 0

    def __post_init__(self) -> None:
        n = len(self.tag)
        if not (len(self.time_ns) == len(self.value) == len(self.quality) == n):
            raise WrongInput(
                f"a frame's columns differ in length: tag {n}, time {len(self.time_ns)}, "
                f"value {len(self.value)}, quality {len(self.quality)}"
            )

    def __len__(self) -> int:
        return len(self.tag)

    @classmethod
    def of(
        cls,
        tag: ArrayLike,
        time_ns: ArrayLike,
        value: ArrayLike,
        quality: ArrayLike,
        *,
        arrival_ns: int,
        clock_epoch: int = 0,
    ) -> Frame:
        """A frame from columns in any order; sorts by tag, then source time (stable).

        Raises:
            WrongInput: when the columns differ in length.

        Example:
            >>> f = Frame.of([2, 1, 1], [5, 9, 7], [1.0, 2.0, 3.0], [0, 0, 0], arrival_ns=10)
            >>> f.tag.tolist(), f.time_ns.tolist(), f.value.tolist()
            ([1, 1, 2], [7, 9, 5], [3.0, 2.0, 1.0])
        """
        frame = cls(
            np.asarray(tag, dtype=np.int32),
            np.asarray(time_ns, dtype=np.int64),
            np.asarray(value, dtype=np.float64),
            np.asarray(quality, dtype=np.uint32),
            int(arrival_ns),
            int(clock_epoch),
        )
        order = np.lexsort((frame.time_ns, frame.tag))
        if np.array_equal(order, np.arange(len(order))):
            return frame
        return cls(
            frame.tag[order],
            frame.time_ns[order],
            frame.value[order],
            frame.quality[order],
            frame.arrival_ns,
            frame.clock_epoch,
        )

    def by_tag(self) -> Iterator[tuple[int, Series]]:
        """Each tag's samples as a series, in rising tag number (views, no copies)."""
        if len(self) == 0:
            return
        cuts = np.flatnonzero(np.diff(self.tag)) + 1
        edges = [0, *cuts.tolist(), len(self)]
        for a, b in pairwise(edges):
            yield int(self.tag[a]), Series(self.time_ns[a:b], self.value[a:b], self.quality[a:b])


def concatenate(frames: Sequence[Frame], *, arrival_ns: int) -> Frame:
    """Several frames as one, sorted by tag and source time; later frames win no ties, both stay.

    The clock epoch is that of the last frame.
    """
    if len(frames) == 1 and frames[0].arrival_ns == arrival_ns:
        return frames[0]
    return Frame.of(
        np.concatenate([f.tag for f in frames]) if frames else [],
        np.concatenate([f.time_ns for f in frames]) if frames else [],
        np.concatenate([f.value for f in frames]) if frames else [],
        np.concatenate([f.quality for f in frames]) if frames else [],
        arrival_ns=arrival_ns,
        clock_epoch=frames[-1].clock_epoch if frames else 0,
    )
