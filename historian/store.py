"""The store's protocol: what every kind of store answers, whatever it keeps its samples in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from historian.aggregates import Aggregate, AggregateConfig, AggregateRow
from historian.envelope import Envelope
from historian.frame import Frame, Series
from historian.rollups.columns import Rollup
from historian.tags import Tag

STANDARD = AggregateConfig()


@dataclass(frozen=True, slots=True)
class Sample:
    """The newest sample of a tag.

    Attributes:
        time_ns: source time, UTC nanoseconds.
        value: in the tag's unit; NaN when there is none.
        quality: OPC UA StatusCode.
        arrival_ns: when the edge got it, UTC nanoseconds.
    """

    time_ns: int
    value: float
    quality: int
    arrival_ns: int


@dataclass(frozen=True, slots=True)
class Modified:
    """A sample that a later write of the same tag, source time and clock epoch replaced with another one.

    Attributes:
        time_ns: source time, UTC nanoseconds.
        value, quality: what stood there before; NaN where there was no value.
        arrival_ns: when it had come.
        replaced_ns: when what replaced it came.
    """

    time_ns: int
    value: float
    quality: int
    arrival_ns: int
    replaced_ns: int


class Store(Protocol):
    """Keeps every sample of one line and gives it back.

    One process writes (``run``), any number read at the same time.
    """

    def register(self, tags: Iterable[Tag]) -> dict[str, Tag]:
        """Make the tags known and give them their numbers; a known path keeps its number.

        Returns:
            every tag of the line by path.

        Raises:
            UnitMismatch: a known path comes with a unit that measures something else.
        """
        ...

    def append(self, *frames: Frame) -> int:
        """Keep the frames, all or none; on return they are on disk.

        Returns:
            the arrival number of the last frame; numbers rise by one a frame, in order of arrival.

        Raises:
            StoreFull, StoreReadOnly: nothing of this call was kept; what was kept before stays readable.
        """
        ...

    def tags(self) -> dict[str, Tag]:
        """Every tag of the line by path."""
        ...

    def read(
        self, paths: Sequence[str], start_ns: int, end_ns: int, *, bound_before: bool = False
    ) -> dict[str, Series]:
        """The samples with start ≤ source time < end, each tag sorted by time.

        The same tag, source time and clock epoch twice: the last one written is given. The same tag and
        source time in two clock epochs: both are given, none of them better than uncertain.

        Args:
            bound_before: give the last sample of the quarter hour before the start as well, if there is one.

        Raises:
            UnknownTag: naming the path and the nearest known one.
        """
        ...

    def blocks(
        self, paths: Sequence[str], start_ns: int, end_ns: int, *, samples: int = 500_000
    ) -> Iterator[dict[str, Series]]:
        """The same piece by piece in order of time, about so many samples at once, whatever the window."""
        ...

    def latest(self, paths: Sequence[str] | None = None) -> dict[str, Sample]:
        """The sample with the newest source time of each tag that has any."""
        ...

    def modified(self, path: str, start_ns: int, end_ns: int) -> list[Modified]:
        """What later writes replaced in the window, by source time, then arrival.

        Source: OPC 10000-11, 6.5.3 (modified values).
        """
        ...

    def aggregate(
        self,
        path: str,
        start_ns: int,
        end_ns: int,
        interval_ns: int,
        kind: Aggregate,
        *,
        config: AggregateConfig = STANDARD,
    ) -> list[AggregateRow]:
        """One row an interval, after OPC 10000-13, with the bounding samples however far away they are."""
        ...

    def rollup(self, paths: Sequence[str], start_ns: int, end_ns: int, interval_ns: int) -> Rollup:
        """Extremes, ends, mean and counts of every interval that holds a sample, by tag number, as columns.

        Intervals lie at whole multiples of their length since 1970; those at the ends of the window hold
        only what lies in it.
        """
        ...

    def envelope(self, path: str, start_ns: int, end_ns: int, columns: int) -> Envelope:
        """First, minimum, maximum and last sample a pixel column, gaps kept."""
        ...

    def frames(self, after: int = 0) -> Iterator[tuple[int, Frame]]:
        """The frames as they arrived, with their arrival numbers, from the one after ``after``."""
        ...

    def last_number(self) -> int:
        """Arrival number of the last frame; 0 when there is none."""
        ...

    def span(self) -> tuple[int, int] | None:
        """Source time of the first and the last sample; None when the store is empty."""
        ...

    def close(self) -> None:
        """Let go of files and connections."""
        ...


Latest = Mapping[str, Sample]
