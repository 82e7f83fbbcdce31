"""The samples of a request laid against its intervals."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.aggregates._codes import IS_BAD, IS_GOOD, IS_UNCERTAIN, Levels, Shares
from historian.aggregates._config import AggregateConfig
from historian.errors import WrongInput
from historian.frame import Qualities, Series, Times, Values
from historian.quality import NO_DATA, Mask, is_bad, is_good

Indices = NDArray[np.intp]
Numbers = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Slices:
    """Which stretch of an array belongs to which interval; the stretches follow one another.

    Attributes:
        low, high: first index and the one past the last, shape (intervals,); equal where there is none.
    """

    low: Indices
    high: Indices

    @property
    def count(self) -> Indices:
        """How many elements each interval has, shape (intervals,)."""
        return self.high - self.low

    @property
    def empty(self) -> Mask:
        """Which intervals have none, shape (intervals,)."""
        mask: Mask = self.high == self.low
        return mask

    def reduce(self, how: np.ufunc, of: Numbers, empty: float) -> Numbers:
        """``how`` over each stretch of ``of``, shape (intervals,); ``empty`` where there is nothing."""
        result = np.full(len(self.low), empty, dtype=of.dtype)
        filled = ~self.empty
        if filled.any():
            # reduceat runs each stretch up to the next start: right because the stretches leave no gap.
            result[filled] = how.reduceat(of[: self.high[-1]], self.low[filled])
        return result

    def spread(self, of: Numbers) -> Numbers:
        """A value an interval, repeated for each of its elements, shape (elements,)."""
        return np.repeat(of, self.count)

    def count_where(self, mask: Mask) -> NDArray[np.int64]:
        """How many elements of each stretch have the mask set, shape (intervals,).

        Args:
            mask: shape (elements,), of the elements between the first ``low`` and the last ``high``.
        """
        marks = np.zeros(self.high[-1], dtype=np.int64)
        marks[self.low[0] :] = mask
        return self.reduce(np.add, marks, 0)

    def first_where(self, mask: Mask) -> Indices:
        """Index of each stretch's first element with the mask set, shape (intervals,); its length where none.

        Args:
            mask: as for ``count_where``.
        """
        where = np.full(self.high[-1], self.high[-1], dtype=np.intp)
        where[self.low[0] :][mask] = np.arange(self.low[0], self.high[-1])[mask]
        return self.reduce(np.minimum, where, int(self.high[-1]))


@dataclass(frozen=True, slots=True)
class Grid:
    """A request made ready: sorted samples, what each is worth, and the intervals.

    Attributes:
        time_ns, value, quality: the samples, sorted by time, NaN where there is no value, shape (n,).
        level: what each sample is worth under the configuration, shape (n,).
        edges_ns: the starts of the intervals and the end of the last, shape (intervals + 1,).
        inside: the samples of each interval; the start belongs to it, the end does not.
        stepped: values hold until the next one instead of running in a line to it.
    """

    time_ns: Times
    value: Values
    quality: Qualities
    level: Levels
    edges_ns: Times
    inside: Slices
    config: AggregateConfig
    stepped: bool

    @classmethod
    def of(
        cls,
        series: Series,
        start_ns: int,
        end_ns: int,
        interval_ns: int,
        config: AggregateConfig,
        stepped: bool,
    ) -> Grid:
        """The request over [start, end); the last interval takes what is left.

        Raises:
            WrongInput: an end that is not after the start, or an interval that is not positive.

        Source: OPC 10000-13 5.4.2.2.
        """
        if end_ns <= start_ns or interval_ns <= 0:
            raise WrongInput("an aggregate needs an end after its start and an interval above zero")
        edges = np.append(np.arange(start_ns, end_ns, interval_ns, dtype=np.int64), np.int64(end_ns))
        data = _in_order(series)
        cut = np.searchsorted(data.time_ns, edges, side="left")
        level = _levels(data, config.treat_uncertain_as_bad)
        inside = Slices(cut[:-1], cut[1:])
        return cls(data.time_ns, data.value, data.quality, level, edges, inside, config, stepped)

    @property
    def starts_ns(self) -> Times:
        """Start of each interval, UTC nanoseconds, shape (intervals,)."""
        return self.edges_ns[:-1]

    @property
    def ends_ns(self) -> Times:
        """End of each interval, UTC nanoseconds, shape (intervals,)."""
        return self.edges_ns[1:]

    def at_level(self, level: int) -> tuple[Indices, Slices]:
        """The samples of one level: their indices, and which interval has which of them."""
        chosen = np.flatnonzero(self.level == level)
        return chosen, self.cut(self.time_ns[chosen])

    def cut(self, times_ns: Times) -> Slices:
        """Which of these sorted times lie in which interval."""
        at = np.searchsorted(times_ns, self.edges_ns, side="left")
        return Slices(at[:-1], at[1:])

    def counts(self) -> Shares:
        """How many samples of each interval are good, uncertain and bad."""
        good, uncertain, bad = (
            self.at_level(level)[1].count.astype(np.float64) for level in (IS_GOOD, IS_UNCERTAIN, IS_BAD)
        )
        return Shares(good, uncertain, bad)

    def uncertain_kept(self) -> Grid:
        """The same request with uncertain samples told apart from bad ones, whatever was configured."""
        level = _levels(Series(self.time_ns, self.value, self.quality), False)
        return replace(self, level=level)

    def before_data(self) -> Mask:
        """Which intervals end before the first sample, shape (intervals,)."""
        mask: Mask = (
            self.ends_ns <= self.time_ns[0]
            if len(self.time_ns)
            else np.ones(len(self.starts_ns), dtype=np.bool_)
        )
        return mask

    def after_data(self) -> Mask:
        """Which intervals start after the last sample, shape (intervals,)."""
        mask: Mask = (
            self.starts_ns > self.time_ns[-1]
            if len(self.time_ns)
            else np.ones(len(self.starts_ns), dtype=np.bool_)
        )
        return mask

    def partial(self) -> Mask:
        """Which intervals hold the first sample but not at their start, or the last one, shape (intervals,).

        Source: OPC 10000-13 5.3.3.2.
        """
        if len(self.time_ns) == 0:
            return np.zeros(len(self.starts_ns), dtype=np.bool_)
        first, last = self.time_ns[0], self.time_ns[-1]
        mask: Mask = (self.starts_ns < first) & (first < self.ends_ns)
        mask |= (self.starts_ns <= last) & (last < self.ends_ns)
        return mask


def _in_order(series: Series) -> Series:
    """The samples by time, from the first that is more than the mark of an archive's beginning.

    A leading Bad_NoData says that nothing is known before it; annex A.1 of the standard begins with one.
    """
    time_ns, value, quality = series.time_ns, series.value, series.quality
    if np.any(time_ns[1:] < time_ns[:-1]):
        order = np.argsort(time_ns, kind="stable")
        time_ns, value, quality = time_ns[order], value[order], quality[order]
    known = (quality & np.uint32(0xFFFF_0000)) != NO_DATA
    first = int(np.argmax(known)) if known.any() else len(known)
    return Series(time_ns[first:], value[first:], quality[first:])


def _levels(data: Series, uncertain_is_bad: bool) -> Levels:
    """What each sample is worth, shape (n,); a value that is no number is worth nothing."""
    level = np.full(len(data), IS_BAD if uncertain_is_bad else IS_UNCERTAIN, dtype=np.int8)
    level[is_good(data.quality)] = IS_GOOD
    level[is_bad(data.quality) | np.isnan(data.value)] = IS_BAD
    return level
