"""Samples as flat columns with their arrival numbers, and how late and repeated ones merge."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from historian.frame import Frame, Qualities, Series, TagIds, Times, Values
from historian.quality import UNCERTAIN, is_good
from historian.store import Modified

Seqs = NDArray[np.int64]
Rows = NDArray[np.intp]
Chosen = NDArray[np.bool_] | Rows | slice


@dataclass(frozen=True, slots=True)
class FrameTable:
    """The frames that samples came in, one row each.

    Attributes:
        seq: arrival numbers, rising, shape (n,).
        arrival_ns: UTC nanoseconds, shape (n,).
        epoch: clock epoch, shape (n,).
    """

    seq: Seqs
    arrival_ns: Times
    epoch: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.seq)

    @classmethod
    def of(cls, numbered: Iterable[tuple[int, int, int]]) -> FrameTable:
        """From (seq, arrival_ns, epoch) in rising order."""
        rows = list(numbered)
        return cls(
            np.array([r[0] for r in rows], dtype=np.int64),
            np.array([r[1] for r in rows], dtype=np.int64),
            np.array([r[2] for r in rows], dtype=np.int32),
        )

    @classmethod
    def union(cls, tables: Sequence[FrameTable]) -> FrameTable:
        """Each frame of the tables once."""
        if not tables:
            return cls.of([])
        seq, first = np.unique(np.concatenate([t.seq for t in tables]), return_index=True)
        arrival_ns = np.concatenate([t.arrival_ns for t in tables])[first]
        return cls(seq, arrival_ns, np.concatenate([t.epoch for t in tables])[first])

    def only(self, seq: Seqs) -> FrameTable:
        """The frames with these numbers."""
        chosen = np.isin(self.seq, seq)
        return FrameTable(self.seq[chosen], self.arrival_ns[chosen], self.epoch[chosen])

    def between(self, first_seq: int, last_seq: int) -> FrameTable:
        """The frames from one number to another, both taken in."""
        inside = slice(*np.searchsorted(self.seq, [first_seq, last_seq + 1]).tolist())
        return FrameTable(self.seq[inside], self.arrival_ns[inside], self.epoch[inside])

    def places(self, seq: Seqs) -> Rows:
        """The row of each of these numbers, all of which are in the table."""
        return np.searchsorted(self.seq, seq)


def within(time_ns: Times, windows: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
    """Which times lie in one of the windows [start, end), shape (n,)."""
    found = np.zeros(len(time_ns), dtype=np.bool_)
    for low, high in windows:
        found |= (time_ns >= low) & (time_ns < high)
    return found


@dataclass(frozen=True, slots=True)
class Columns:
    """Samples of any tags, one row each, shape (n,) all; ``value`` is NaN where there is none."""

    tag: TagIds
    time_ns: Times
    seq: Seqs
    value: Values
    quality: Qualities

    def __len__(self) -> int:
        return len(self.tag)

    @classmethod
    def of(cls, tag: Any, time_ns: Any, seq: Any, value: Any, quality: Any) -> Columns:
        """From anything that numpy reads."""
        return cls(
            np.asarray(tag, dtype=np.int32),
            np.asarray(time_ns, dtype=np.int64),
            np.asarray(seq, dtype=np.int64),
            np.asarray(value, dtype=np.float64),
            np.asarray(quality, dtype=np.uint32),
        )

    @classmethod
    def of_frames(cls, frames: Iterable[tuple[int, Frame]]) -> Columns:
        """The samples of numbered frames, in their order."""
        kept = list(frames)
        if not kept:
            return cls.of([], [], [], [], [])
        return cls(
            np.concatenate([f.tag for _, f in kept]),
            np.concatenate([f.time_ns for _, f in kept]),
            np.repeat(np.array([n for n, _ in kept], dtype=np.int64), [len(f) for _, f in kept]),
            np.concatenate([f.value for _, f in kept]),
            np.concatenate([f.quality for _, f in kept]),
        )

    @classmethod
    def joined(cls, parts: Sequence[Columns]) -> Columns:
        """All samples of the parts, one part after the other."""
        if not parts:
            return cls.of([], [], [], [], [])
        if len(parts) == 1:
            return parts[0]
        names = ("tag", "time_ns", "seq", "value", "quality")
        return cls.of(*(np.concatenate([getattr(p, n) for p in parts]) for n in names))

    def where(self, chosen: Chosen) -> Columns:
        """Some of the rows."""
        return Columns(
            self.tag[chosen], self.time_ns[chosen], self.seq[chosen], self.value[chosen], self.quality[chosen]
        )

    def between(self, start_ns: int, end_ns: int) -> Columns:
        """The samples with start ≤ source time < end."""
        return self.where((self.time_ns >= start_ns) & (self.time_ns < end_ns))

    def of_tags(self, tags: Sequence[int]) -> Columns:
        """The samples of these tags."""
        return self.where(np.isin(self.tag, np.asarray(tags, dtype=np.int32)))

    def series(self) -> Series:
        """The same without tag and number, for the samples of one tag."""
        return Series(self.time_ns, self.value, self.quality)


REPEATED: Final = -1
GRADED: Final = -2


@dataclass(frozen=True, slots=True)
class Merged:
    """What stays, what was overwritten, and what else is needed to tell the frames as they came.

    Attributes:
        kept: sorted by tag, source time and arrival number; each (tag, time, clock epoch) once.
        left: the others as they came, sorted by tag and source time; those of one frame in its own order.
        reason: why each is not among the kept, shape of ``left``: the number of the frame whose write, the
            next of the same (tag, time, epoch), changed it; ``REPEATED`` where that write repeated it;
            ``GRADED`` where it is kept, but with a lower quality.
    """

    kept: Columns
    left: Columns
    reason: Seqs

    @property
    def replaced(self) -> Columns:
        """What the next write changed."""
        return self.left.where(self.reason >= 0)

    @property
    def replaced_by(self) -> Seqs:
        """The number of the frame that did it, shape of ``replaced``."""
        return self.reason[self.reason >= 0]


def merge(samples: Columns, frames: FrameTable) -> Merged:
    """One sample for each tag, source time and clock epoch: the last one written.

    A repetition with the same value and quality replaces the earlier one, but nothing was modified. So what
    is told as replaced does not depend on how often samples were merged on the way. Samples of one tag and
    time from different epochs stay, and the good ones become uncertain, because the clock that stamped them
    was changed and nobody can tell which came first.

    Args:
        samples: in any order; of two rows of one frame the later row counts.
        frames: holds every number that stands in ``samples``.

    Source: OPC 10000-11, 6.5.3 (modified values): a historian keeps what was replaced.
    """
    epoch = frames.epoch[frames.places(samples.seq)]
    order = np.lexsort((samples.seq, epoch, samples.time_ns, samples.tag))
    rows, epoch = samples.where(order), epoch[order]
    same_time = (rows.tag[1:] == rows.tag[:-1]) & (rows.time_ns[1:] == rows.time_ns[:-1])
    same = same_time & (epoch[1:] == epoch[:-1])
    if not same_time.any():
        none = rows.where(slice(0, 0))
        return Merged(rows, none, none.seq)
    last = np.append(~same, True)
    # In two epochs: all of the run, so that what was raised before compares as what is not yet.
    raised = _raised(rows, _in_two(same_time, same))
    next_one = np.minimum(np.arange(len(rows)) + 1, len(rows) - 1)
    changed = ~last & ~_alike(raised, np.arange(len(rows)), next_one)
    kept = raised.where(last)
    kept = kept.where(np.lexsort((kept.seq, kept.time_ns, kept.tag)))
    reason = np.where(changed, rows.seq[next_one], np.where(last, GRADED, REPEATED))
    left = ~last | (raised.quality != rows.quality)
    return Merged(kept, rows.where(left), reason[left])


def modified_of(replaced: Columns, replaced_by: Seqs, frames: FrameTable) -> list[Modified]:
    """Replaced samples as a store tells them; ``frames`` holds every number."""
    arrival_ns = frames.arrival_ns[frames.places(replaced.seq)].tolist()
    replaced_ns = frames.arrival_ns[frames.places(replaced_by)].tolist()
    columns = (replaced.time_ns.tolist(), replaced.value.tolist(), replaced.quality.tolist())
    return [Modified(*row) for row in zip(*columns, arrival_ns, replaced_ns, strict=True)]


def _in_two(same_time: NDArray[np.bool_], same: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which rows stand in a run of one tag and time that two epochs share.

    Args:
        same_time, same: whether a row, from the second on, shares tag and time (and epoch) with the last one.
    """
    run = np.cumsum(np.append(True, ~same_time)) - 1
    shared = np.zeros(run[-1] + 1, dtype=np.bool_)
    shared[run[1:][same_time & ~same]] = True
    found: NDArray[np.bool_] = shared[run]
    return found


def _raised(rows: Columns, chosen: NDArray[np.bool_]) -> Columns:
    """The rows, of which the chosen ones are no better than uncertain."""
    quality = np.where(chosen & is_good(rows.quality), rows.quality | UNCERTAIN, rows.quality)
    return Columns(rows.tag, rows.time_ns, rows.seq, rows.value, quality.astype(np.uint32))


def _alike(rows: Columns, a: Rows, b: Rows) -> NDArray[np.bool_]:
    """Whether two rows carry the same value, bit for bit or none in both, and the same quality."""
    bits = np.where(np.isnan(rows.value), np.nan, rows.value).view(np.int64)
    alike: NDArray[np.bool_] = (bits[a] == bits[b]) & (rows.quality[a] == rows.quality[b])
    return alike
