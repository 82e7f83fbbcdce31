"""Fills gaps from what a source remembers: what of it to keep, and where something is still missing.

Pieces come in order of time. After each piece the store tells the truth: the mark that says "nothing is known
from here on" moves behind the last sample that was filled in, and what it stood on becomes a value that held.
Only when nothing more can be missing does the last mark go as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from collector.gaps.marks import Gap
from collector.gaps.refill import close, fill, joined, within
from historian.frame import Frame, Series

_SLACK_NS = 2_000_000_000  # by which one tag's first value may be newer than what is remembered of another
_NEVER = -(2**63)
_FEW = 3  # pauses; from more of them it can be told which are usual


@dataclass(frozen=True, slots=True)
class First:
    """What the source sent first of a tag when it came back.

    Attributes:
        time_ns: source time; it may be long ago.
        value, quality: as they are kept.
    """

    time_ns: int
    value: float
    quality: int


@dataclass(frozen=True, slots=True)
class Found:
    """What the source remembers of a tag in one piece of time.

    Attributes:
        series: its samples.
        records: whether it says that it remembers everything of this tag, so that nothing found is an answer.
    """

    series: Series
    records: bool


class Filling:
    """The gaps of one source that ended at the same time, while they are being filled.

    Args:
        gaps: one a tag.
        firsts: what the source sent first of each of these tags when it came back.
        end_ns: up to where its history is asked for: the source's own time when it came back.
        restarted_ns: when the source itself last started; what it remembers from before ends somewhere before
            that, nobody knows where.

    Attributes:
        filled: samples of the history that were kept.
        proven: gaps of which nothing is missing any more.
    """

    def __init__(
        self, gaps: Iterable[Gap], firsts: Mapping[int, First], end_ns: int, restarted_ns: int | None = None
    ) -> None:
        self._gaps = {gap.tag: gap for gap in gaps}
        self._firsts = firsts
        # From its first value on a source sends itself, unless that value is an old one.
        self._live_ns = {
            tag: first.time_ns
            for tag, first in firsts.items()
            if tag in self._gaps and first.time_ns > self._gaps[tag].since_ns
        }
        # Up to its mark the source was there, so a start before that tore nothing.
        self._torn = {
            gap.tag for gap in self._gaps.values() if restarted_ns is not None and restarted_ns > gap.mark_ns
        }
        self._seen_ns: dict[int, int] = {}
        self._records = dict.fromkeys(self._gaps, True)
        self._end_ns, self._restarted_ns = end_ns, restarted_ns
        self._reached_ns: int | None = None
        self.filled = self.proven = 0

    @property
    def tags(self) -> list[int]:
        """The tags that still have a gap to be filled."""
        return list(self._gaps)

    def piece(self, longest_ns: int) -> tuple[int, int] | None:
        """The next piece of time to ask for: start and end; None when all is asked."""
        if not self._gaps or self._reached_ns == self._end_ns:
            return None
        start_ns = self._reached_ns
        if start_ns is None:
            start_ns = min(self._end_ns, *(gap.since_ns for gap in self._gaps.values()))
        end_ns = min(start_ns + longest_ns, self._end_ns)
        if self._restarted_ns is not None and start_ns < self._restarted_ns < end_ns:
            end_ns = self._restarted_ns
        return start_ns, end_ns

    def give_up(self, tags: Iterable[int]) -> None:
        """Leave the marks of these tags where they are: the source remembers nothing of them."""
        for tag in tags:
            self._gaps.pop(tag, None)

    def take(self, end_ns: int, found: Mapping[int, Found]) -> Frame | None:
        """What to keep of a piece, or None; a tag that was not answered for has lost that piece.

        Args:
            end_ns: the end of the piece.
            found: what the source answered, by tag number.
        """
        filled = {tag: self._fill(gap, found.get(tag), end_ns) for tag, gap in self._gaps.items()}
        self._reached_ns = end_ns
        if end_ns == self._end_ns:
            filled = {tag: self._end(kept, left) for tag, (kept, left) in filled.items()}
        self._gaps = {tag: left for tag, (_, left) in filled.items() if left is not None}
        return _frame([(tag, kept) for tag, (kept, _) in filled.items() if len(kept)])

    def _end(self, kept: Series, left: Gap | None) -> tuple[Series, None]:
        """The last piece of one tag, when it is known what all tags have in it."""
        if left is not None:
            more, left = self._meet_first(left)
            kept = joined(kept, more)
        if left is None or self._is_proven(left):
            self.proven += 1
            kept = kept if left is None else _ended(kept, left)
        return kept, None

    def _fill(self, gap: Gap, found: Found | None, end_ns: int) -> tuple[Series, Gap | None]:
        """A piece of one tag."""
        if found is None:
            self._records[gap.tag] = False
            return Series.empty(), replace(gap, lasting=True)
        self._records[gap.tag] &= found.records
        series = found.series
        if len(series):
            seen_ns = int(series.time_ns.max())
            self._seen_ns[gap.tag] = max(seen_ns, self._seen_ns.get(gap.tag, seen_ns))
        before_ns = self._live_ns.get(gap.tag, gap.until_ns) + 1
        if end_ns == self._restarted_ns and gap.tag in self._torn:
            before_ns = min(before_ns, end_ns)
        series = within(series, gap.since_ns, min(before_ns, gap.until_ns))
        self.filled += len(series)
        to_start = end_ns == self._restarted_ns and gap.tag in self._torn
        torn = _torn_at(gap, series, end_ns) if to_start else len(series)
        kept, left = fill(gap, _cut(series, 0, torn))
        if torn < len(series) and left is not None:
            more, left = fill(replace(left, lasting=True), _cut(series, torn, len(series)))
            kept = joined(kept, more)
        return kept, left if left is None else self._broken_off(left, end_ns)

    def _meet_first(self, gap: Gap) -> tuple[Series, Gap | None]:
        """What the source sent first, where it was kept under the time at which the source confirmed it."""
        first = self._firsts.get(gap.tag)
        if first is None or not gap.since_ns < first.time_ns < gap.until_ns:
            return Series.empty(), gap
        gap = gap if self._reaches(gap) else replace(gap, lasting=True)
        kept, left = fill(gap, Series.of([first.time_ns], [first.value], [first.quality]))
        return kept, left if left is None else self._broken_off(left, self._end_ns)

    def _broken_off(self, gap: Gap, end_ns: int) -> Gap:
        """The gap, lasting when the source was down behind its last sample."""
        restarted_ns = self._restarted_ns
        if restarted_ns is None or gap.tag not in self._torn or gap.since_ns >= restarted_ns:
            return gap
        return replace(gap, lasting=True) if end_ns in (restarted_ns, self._end_ns) else gap

    def _reaches(self, gap: Gap) -> bool:
        """Whether the history goes up to what the source sent first when it came back."""
        first = self._firsts.get(gap.tag)
        if first is None or gap.lasting:
            return False
        if self._seen_ns.get(gap.tag, _NEVER) >= first.time_ns:
            return True
        if gap.since_ns == first.time_ns and gap.tag in self._live_ns:
            return True
        if not self._records[gap.tag]:
            return False
        if first.time_ns <= gap.since_ns:
            return True
        # Some servers remember changes only: then the value must be the same, and the others' history go on.
        same = first.value == gap.value or (math.isnan(first.value) and math.isnan(gap.value))
        current = max(self._seen_ns.values(), default=_NEVER) >= first.time_ns - _SLACK_NS
        return same and first.quality == gap.quality and current

    def _is_proven(self, gap: Gap) -> bool:
        return not gap.lasting and self._reaches(gap)


def _torn_at(gap: Gap, before: Series, started_ns: int) -> int:
    """How many of the samples before a start are from before the source was down.

    Some sources set their first values before the time at which they say that they started: then the widest
    pause before that is when they were down (common practice, no source).
    """
    pauses_ns = np.diff(np.concatenate(([gap.since_ns], before.time_ns, [started_ns])))
    widest = int(np.argmax(pauses_ns))
    usual = len(pauses_ns) > _FEW and pauses_ns[widest] <= 2 * np.median(pauses_ns)
    return len(before) if usual else widest


def _cut(series: Series, start: int, end: int) -> Series:
    return Series(series.time_ns[start:end], series.value[start:end], series.quality[start:end])


def _ended(kept: Series, gap: Gap) -> Series:
    """The samples of the last piece when nothing is missing behind them."""
    unmarked = kept.time_ns != gap.mark_ns
    if unmarked.all():
        return joined(kept, close(gap))
    return Series(kept.time_ns[unmarked], kept.value[unmarked], kept.quality[unmarked])


def _frame(lot: list[tuple[int, Series]]) -> Frame | None:
    if not lot:
        return None
    return Frame.of(
        np.concatenate([np.full(len(s), tag, dtype=np.int32) for tag, s in lot]),
        np.concatenate([s.time_ns for _, s in lot]),
        np.concatenate([s.value for _, s in lot]),
        np.concatenate([s.quality for _, s in lot]),
        arrival_ns=0,
    )
