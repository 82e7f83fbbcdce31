"""What a minute or an hour of a tag held, as columns: extremes, ends and mean, and every bad sample counted.

A rollup stands in for raw samples where a window is long. It keeps four real samples an interval (first,
minimum, maximum, last, each with its own source time), so that a picture drawn from it shows nothing that was
not measured, and the first and last bad one, so that no gap is drawn over. Pure functions over columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from historian.errors import WrongInput
from historian.frame import NS, Qualities, TagIds, Times, Values
from historian.quality import NO_DATA, Mask, is_bad, is_uncertain
from historian.rollups._runs import Runs

MINUTE_NS: Final = 60 * NS
HOUR_NS: Final = 3600 * NS

Counts = NDArray[np.int32]
Totals = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Rollup:
    """Intervals of any number of tags, one row each, sorted by tag, then start; none for an empty interval.

    A sample is bad here when its quality is, or when it holds no number. Bad ones count in ``samples`` and
    ``bad`` and stand behind none of the values; uncertain ones do both, and are told by ``uncertain``.

    Attributes:
        tag: tag number, shape (n,) as all columns.
        start_ns: start of the interval, a whole multiple of its length since 1970, UTC nanoseconds.
        samples, uncertain, bad: how many samples the interval holds, and how many of them are such.
        worst: OPC UA StatusCode of the worst sample, the earliest of equals; a good quality without a number
            counts as no data.
        total: sum of the values that are not bad; NaN, as the next four, where there is none.
        first, minimum, maximum, last: values of samples, in the tag's unit.
        first_ns, minimum_ns, maximum_ns, last_ns: their source times (of equal extremes the earliest);
            ``start_ns`` where there is none.
        bad_first_ns, bad_last_ns: source times of the first and last bad sample; ``start_ns`` if none.
    """

    tag: TagIds
    start_ns: Times
    samples: Counts
    uncertain: Counts
    bad: Counts
    worst: Qualities
    total: Values
    first: Values
    minimum: Values
    maximum: Values
    last: Values
    first_ns: Times
    minimum_ns: Times
    maximum_ns: Times
    last_ns: Times
    bad_first_ns: Times
    bad_last_ns: Times

    def __len__(self) -> int:
        return len(self.tag)

    @property
    def mean(self) -> Values:
        """Mean of the values that are not bad, NaN where there is none, shape (n,)."""
        usable = self.samples - self.bad
        return np.where(usable > 0, self.total / np.maximum(usable, 1), np.nan)

    @property
    def clean(self) -> Mask:
        """Where every sample is good: there, and only there, does the row answer for any configuration."""
        mask: Mask = (self.uncertain == 0) & (self.bad == 0)
        return mask

    def take(self, index: Any) -> Self:
        """The rows that a numpy index or slice picks."""
        return type(self)(*(getattr(self, name)[index] for name in COLUMNS))

    def of_tag(self, number: int) -> Self:
        """One tag's rows (views, no copies)."""
        low, high = np.searchsorted(self.tag, [number, number + 1], side="left")
        return self.take(slice(int(low), int(high)))

    def between(self, start_ns: int, end_ns: int) -> Self:
        """The rows with start ≤ ``start_ns`` < end."""
        return self.take((self.start_ns >= start_ns) & (self.start_ns < end_ns))

    @classmethod
    def empty(cls) -> Self:
        """No rows at all."""
        return cls(*(np.zeros(0, dtype=dtype) for dtype in DTYPES.values()))


COLUMNS: Final = tuple(f.name for f in fields(Rollup))
DTYPES: Final[dict[str, type[np.generic]]] = {
    "tag": np.int32,
    "start_ns": np.int64,
    **dict.fromkeys(("samples", "uncertain", "bad"), np.int32),
    "worst": np.uint32,
    **dict.fromkeys(("total", "first", "minimum", "maximum", "last"), np.float64),
    **dict.fromkeys([n for n in COLUMNS if n.endswith("_ns") and n != "start_ns"], np.int64),
}


def rollup_of(tag: TagIds, time_ns: Times, value: Values, quality: Qualities, interval_ns: int) -> Rollup:
    """The rollup of samples.

    Args:
        tag, time_ns, value, quality: columns as in a frame, sorted by tag, then source time, shape (n,).
        interval_ns: length of an interval, nanoseconds.

    Raises:
        WrongInput: an interval below 1 ns, or samples out of order.

    Example:
        >>> r = rollup_of(np.array([1, 1, 1], np.int32), np.array([0, 5, 12]), np.array([3.0, 1.0, 2.0]),
        ...               np.zeros(3, np.uint32), 10)
        >>> r.start_ns.tolist(), r.minimum.tolist(), r.minimum_ns.tolist(), r.samples.tolist()
        ([0, 10], [1.0, 2.0], [5, 12], [2, 1])
    """
    _check_interval(interval_ns)
    _check_order(tag, time_ns)
    n = len(tag)
    if n == 0:
        return Rollup.empty()
    start_ns = time_ns - time_ns % interval_ns
    groups = Runs(tag, start_ns)
    is_nan = np.isnan(value)
    bad = is_bad(quality) | is_nan
    code = np.where(is_nan & ~is_bad(quality), np.uint32(NO_DATA), quality)
    # Most hours hold nothing bad: the columns then stand for themselves.
    low, high, sure = (np.where(bad, x, value) if bad.any() else value for x in (np.inf, -np.inf, 0.0))
    return _rows(
        groups,
        counts=(np.ones(n, np.int64), is_uncertain(code).astype(np.int64), bad.astype(np.int64)),
        worst=code,
        total=sure,
        usable=~bad,
        least=(low, value, time_ns),
        most=(high, value, time_ns),
        ends=((value, time_ns), (value, time_ns)),
        bads=(bad, time_ns, time_ns),
    )


def coarser(rollup: Rollup, interval_ns: int) -> Rollup:
    """The rollup over longer intervals: as from the samples themselves, but for rounding of the totals.

    Args:
        interval_ns: a whole multiple of the length of the intervals inside.

    Raises:
        WrongInput: an interval below 1 ns.
    """
    _check_interval(interval_ns)
    if len(rollup) == 0:
        return rollup
    usable = rollup.samples > rollup.bad
    return _rows(
        Runs(rollup.tag, rollup.start_ns - rollup.start_ns % interval_ns),
        counts=tuple(c.astype(np.int64) for c in (rollup.samples, rollup.uncertain, rollup.bad)),
        worst=rollup.worst,
        total=np.where(usable, rollup.total, 0.0),
        usable=usable,
        least=(np.where(usable, rollup.minimum, np.inf), rollup.minimum, rollup.minimum_ns),
        most=(np.where(usable, rollup.maximum, -np.inf), rollup.maximum, rollup.maximum_ns),
        ends=((rollup.first, rollup.first_ns), (rollup.last, rollup.last_ns)),
        bads=(rollup.bad > 0, rollup.bad_first_ns, rollup.bad_last_ns),
    )


def united(rollup: Rollup, interval_ns: int) -> Rollup:
    """The rows with those of one tag and interval made one: a row whose samples were rolled up in two goes.

    Args:
        rollup: sorted by tag, start, then time.
    """
    cut = (rollup.tag[1:] == rollup.tag[:-1]) & (rollup.start_ns[1:] == rollup.start_ns[:-1])
    return coarser(rollup, interval_ns) if cut.any() else rollup


def merged(old: Rollup, new: Rollup) -> Rollup:
    """Both together; an interval of a tag that both hold is the new one's.

    Late samples change intervals that are rolled up already: roll these up again from all their samples, and
    merge.
    """
    both = joined([old, new])
    order = np.lexsort((np.arange(len(both)), both.start_ns, both.tag))
    both = both.take(order)
    stays = np.ones(len(both), dtype=np.bool_)
    stays[:-1] = (both.tag[1:] != both.tag[:-1]) | (both.start_ns[1:] != both.start_ns[:-1])
    return both.take(stays)


def together(one: Rollup, other: Rollup) -> Rollup:
    """Both added up, where they are made from different samples: an interval that both hold counts both."""
    both = joined([one, other])

    def by(column: Times) -> Rollup:
        return coarser(both.take(np.lexsort((column, both.start_ns, both.tag))), 1)

    last, bad_first, bad_last = by(both.last_ns), by(both.bad_first_ns), by(both.bad_last_ns)
    return replace(
        by(both.first_ns),
        last=last.last,
        last_ns=last.last_ns,
        bad_first_ns=bad_first.bad_first_ns,
        bad_last_ns=bad_last.bad_last_ns,
    )


def joined(parts: Sequence[Rollup]) -> Rollup:
    """The rows of several rollups, sorted by tag, then start; equal ones stay side by side."""
    filled = [part for part in parts if len(part)]
    if len(filled) < 2:
        return filled[0] if filled else Rollup.empty()
    whole = Rollup(*(np.concatenate([getattr(p, name) for p in filled]) for name in COLUMNS))
    return whole.take(np.lexsort((whole.start_ns, whole.tag)))


def _check_interval(interval_ns: int) -> None:
    if interval_ns < 1:
        raise WrongInput(f"an interval lasts at least 1 ns, not {interval_ns}")


def _check_order(tag: TagIds, time_ns: Times) -> None:
    same = tag[1:] == tag[:-1]
    if np.any(tag[1:] < tag[:-1]) or np.any(same & (time_ns[1:] < time_ns[:-1])):
        raise WrongInput("samples to be rolled up must be sorted by tag, then source time")


def _rows(
    groups: Runs,
    *,
    counts: Sequence[Totals],
    worst: Qualities,
    total: Values,
    usable: Mask,
    least: tuple[Values, Values, Times],
    most: tuple[Values, Values, Times],
    ends: tuple[tuple[Values, Times], tuple[Values, Times]],
    bads: tuple[Mask, Times, Times],
) -> Rollup:
    """One row a group, whatever the rows inside are: samples or shorter intervals."""
    at = {
        "first": groups.first(usable),
        "minimum": groups.lowest(least[0], usable),
        "maximum": groups.highest(most[0], usable),
        "last": groups.last(usable),
    }
    sources = {"first": ends[0], "minimum": least[1:], "maximum": most[1:], "last": ends[1]}
    picked = {k: groups.pick(sources[k][0], rows, np.nan) for k, rows in at.items()}
    times = {f"{k}_ns": groups.pick(sources[k][1], rows, groups.start_ns) for k, rows in at.items()}
    worst_at = groups.highest(np.minimum(worst >> 30, 2), np.ones(len(worst), dtype=np.bool_))
    samples, uncertain, bad = (groups.sums(c).astype(np.int32) for c in counts)
    is_there = at["first"] < groups.size
    return Rollup(
        tag=groups.tag,
        start_ns=groups.start_ns,
        samples=samples,
        uncertain=uncertain,
        bad=bad,
        worst=worst[worst_at],
        total=np.where(is_there, groups.sums(total), np.nan),
        bad_first_ns=groups.pick(bads[1], groups.first(bads[0]), groups.start_ns),
        bad_last_ns=groups.pick(bads[2], groups.last(bads[0]), groups.start_ns),
        **picked,
        **times,
    )
