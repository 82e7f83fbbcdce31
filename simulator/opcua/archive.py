"""What the machine itself remembers of its signals, and how it answers a raw read of it."""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from historian.frame import NS
from simulator.published import Sample

DAY_S = 86_400
_ALWAYS_NS = 2**62
# Cutting the front of an array moves the rest: done once in a while, not each second.
_SLACK = 1024


class Row(NamedTuple):
    """One remembered sample, and when the server got it.

    ``quality`` is None for a bound that was asked for and does not exist.
    """

    time_ns: int
    value: float
    quality: int | None
    served_ns: int


@dataclass(frozen=True, slots=True)
class RawRead:
    """A raw read, or what is left of it.

    Rising, it covers ``first_ns`` ≤ t < ``stop_ns``; falling, ``first_ns`` ≥ t > ``stop_ns``.

    Attributes:
        first_ns, stop_ns: the end that is included and read first, and the one that is not.
        rising: whether the oldest comes first.
        left: how many more rows may come at all; None: no limit.
        first_bound, last_bound: whether the row at or beyond that end is wanted besides.

    Source: OPC 10000-11 (1.05), 6.5.3.2 and 4.4: the start of a read is in it, its end is not, unless only
    one of them is given; start after end reads backwards; start = end asks for that moment.
    """

    first_ns: int
    stop_ns: int
    rising: bool
    left: int | None = None
    first_bound: bool = False
    last_bound: bool = False

    @classmethod
    def of(cls, start_ns: int | None, end_ns: int | None, most: int, *, bounds: bool) -> RawRead | None:
        """The read of a request; None when it does not say enough (two of start, end and number)."""
        if start_ns is not None and end_ns is not None:
            if start_ns == end_ns:
                return cls(start_ns, start_ns + 1, True)
            return cls(start_ns, end_ns, start_ns < end_ns, first_bound=bounds, last_bound=bounds)
        if most == 0:
            return None
        if start_ns is not None:
            return cls(start_ns, _ALWAYS_NS, True, left=most, first_bound=bounds)
        if end_ns is not None:
            return cls(end_ns, -_ALWAYS_NS, False, left=most, first_bound=bounds)
        return None


class Series:
    """The samples of one signal in order of source time, one for each time; bounded."""

    __slots__ = ("_qualities", "_served", "_times", "_values", "_window_ns")

    def __init__(self, window_ns: int) -> None:
        self._window_ns = window_ns
        self._times = array("q")
        self._values = array("d")
        self._qualities = array("I")
        self._served = array("q")

    def __len__(self) -> int:
        return len(self._times)

    def keep(self, time_ns: int, value: float, quality: int, served_ns: int) -> None:
        """Remember a sample; one of the same time takes its place, for a clock may be set back."""
        times = self._times
        if not times or time_ns > times[-1]:
            times.append(time_ns)
            self._values.append(value)
            self._qualities.append(quality)
            self._served.append(served_ns)
            self._forget()
            return
        at = bisect_left(times, time_ns)
        if times[at] == time_ns:
            self._values[at], self._qualities[at], self._served[at] = value, quality, served_ns
        else:
            times.insert(at, time_ns)
            self._values.insert(at, value)
            self._qualities.insert(at, quality)
            self._served.insert(at, served_ns)

    def _forget(self) -> None:
        oldest_ns = self._times[-1] - self._window_ns
        if len(self._times) > _SLACK and self._times[_SLACK] < oldest_ns:
            gone = bisect_left(self._times, oldest_ns)
            del self._times[:gone], self._values[:gone], self._qualities[:gone], self._served[:gone]

    def read(self, asked: RawRead, page: int) -> tuple[list[Row], RawRead | None]:
        """One page of a read, and the read of the rest; None when nothing is left."""
        room = page if asked.left is None else min(page, asked.left)
        rows: list[Row] = []
        for row, rest in self._all(asked):
            if len(rows) == room:
                if asked.left is not None and len(rows) == asked.left:
                    return rows, None
                left = None if asked.left is None else asked.left - len(rows)
                return rows, replace(rest, left=left)
            rows.append(row)
        return rows, None

    def _all(self, asked: RawRead) -> Iterator[tuple[Row, RawRead]]:
        """Each row, with the read that would begin with it."""
        if asked.first_bound and (bound := self._bound(asked.first_ns, before=asked.rising)) is not None:
            yield bound, asked
        for at in self._span(asked):
            yield self._row(at), replace(asked, first_ns=self._times[at], first_bound=False)
        if asked.last_bound:
            bound = self._bound(asked.stop_ns, before=not asked.rising) or self._exact(asked.stop_ns)
            yield bound, replace(asked, first_ns=asked.stop_ns, first_bound=False)

    def _span(self, asked: RawRead) -> Iterable[int]:
        if asked.rising:
            return range(bisect_left(self._times, asked.first_ns), bisect_left(self._times, asked.stop_ns))
        first, stop = bisect_right(self._times, asked.first_ns), bisect_right(self._times, asked.stop_ns)
        return range(first - 1, stop - 1, -1)

    def _bound(self, time_ns: int, *, before: bool) -> Row | None:
        """The nearest row on that side of a moment; None when there is one at the moment itself."""
        at = bisect_left(self._times, time_ns)
        if at < len(self) and self._times[at] == time_ns:
            return None
        at -= before
        return self._row(at) if 0 <= at < len(self) else Row(time_ns, 0.0, None, time_ns)

    def _exact(self, time_ns: int) -> Row:
        return self._row(bisect_left(self._times, time_ns))

    def _row(self, at: int) -> Row:
        return Row(self._times[at], self._values[at], self._qualities[at], self._served[at])


class Archive:
    """The machine's memory: every published sample of the last hours, by path of its tag."""

    def __init__(self, window_s: int = DAY_S) -> None:
        self._window_ns = window_s * NS
        self._series: dict[str, Series] = {}

    def keep(self, samples: Iterable[Sample], served_ns: int | None = None) -> None:
        """Remember what was published, and when; None: at its own time, as far as anybody knows."""
        for sample in samples:
            served = sample.time_ns if served_ns is None else served_ns
            self.of(sample.path).keep(sample.time_ns, sample.value, sample.quality, served)

    def of(self, path: str) -> Series:
        """The memory of one signal."""
        if path not in self._series:
            self._series[path] = Series(self._window_ns)
        return self._series[path]
