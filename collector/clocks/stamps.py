"""What the entries of one batch say of their source's time, and the same entries at other times; pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.columns import Columns
from collector.entry import ALIVE, LOST, SHIFTED, Entry, together
from historian.frame import TagIds, Times
from historian.quality import UNCERTAIN, Mask

_BOUND: Final = 2**62
_SEVERITY: Final = np.uint32(0xC000_0000)


@dataclass(frozen=True, slots=True)
class Stamps:
    """The time stamps of a batch; samples that may have been sent before are not among them.

    Attributes:
        tag, time_ns: of each sample, as sent, shape (n,).
        running: False for the first value of a tag since the source came back: it may be old and true.
        said_ns: the source's own time when it sent such first values; None when it did not say.
        was_lost: whether the source was lost within the batch.
    """

    tag: TagIds
    time_ns: Times
    running: Mask
    said_ns: int | None
    was_lost: bool

    @classmethod
    def of(cls, entries: Iterable[Entry]) -> Stamps:
        """Read from the entries, in the order in which they were sent."""
        tags: list[NDArray[np.int32]] = []
        times: list[NDArray[np.int64]] = []
        running: list[Mask] = []
        said_ns, was_lost = None, False
        for entry in entries:
            if isinstance(entry, Columns):
                if not entry.resent:
                    tags.append(entry.tag)
                    times.append(entry.time_ns)
                    running.append(np.ones(len(entry), dtype=np.bool_))
            elif entry[0] >= 0:
                tags.append(np.array([entry[0]], dtype=np.int32))
                times.append(np.array([max(-_BOUND, min(_BOUND, entry[1]))], dtype=np.int64))
                running.append(np.array([entry[4] == 0]))
                if entry[4] > 1:
                    said_ns = max(entry[4], said_ns or 0)
            else:
                was_lost = was_lost or entry[0] == LOST
        if not tags:
            none = np.zeros(0, dtype=np.int64)
            return cls(none.astype(np.int32), none, none.astype(np.bool_), said_ns, was_lost)
        return cls(np.concatenate(tags), np.concatenate(times), np.concatenate(running), said_ns, was_lost)

    def __len__(self) -> int:
        return len(self.tag)

    def chosen(self, which: Mask) -> Stamps:
        """Some of them."""
        return replace(self, tag=self.tag[which], time_ns=self.time_ns[which], running=self.running[which])

    def newest_ns(self) -> int | None:
        """The newest time that tells the source's clock: of a running sample, else what it said."""
        if self.running.any():
            return int(self.time_ns[self.running].max())
        if self.said_ns is not None:
            return self.said_ns
        return int(self.time_ns.max()) if len(self) else None

    def oldest_ns(self) -> int:
        """The oldest time of a running sample, else of any."""
        return int((self.time_ns[self.running] if self.running.any() else self.time_ns).min())


def newest_of(entries: Sequence[Entry]) -> int | None:
    """The newest time of the source that its running samples tell, or what it said with its first ones."""
    times = [e.time_ns for e in entries if isinstance(e, Columns) and len(e) and not e.resent]
    newest = [int((times[0] if len(times) == 1 else np.concatenate(times)).max())] if times else []
    for entry in entries:
        if not isinstance(entry, Columns) and entry[0] >= 0 and entry[4] != 1:
            newest.append(entry[4] or entry[1])
    return max(newest, default=None)


def parted(entries: Sequence[Entry], which: Callable[[int, int], bool]) -> tuple[list[Entry], list[Entry]]:
    """Two batches: of the samples for whose tag and time something does not hold, and of the others.

    What is no sample stays with the first; samples that may have been sent before as well.
    """
    near: list[Entry] = []
    far: list[Entry] = []
    for entry in entries:
        if not isinstance(entry, Columns):
            (far if entry[0] >= 0 and which(entry[0], entry[1]) else near).append(entry)
        elif entry.resent:
            near.append(entry)
        else:
            both = zip(entry.tag.tolist(), entry.time_ns.tolist(), strict=True)
            is_far = np.array([which(tag, time_ns) for tag, time_ns in both], dtype=np.bool_)
            near += [entry.chosen(~is_far)] if not is_far.all() else []
            far += [entry.chosen(is_far)] if is_far.any() else []
    return near, far


def moved(entries: Iterable[Entry], shift_ns: int, *, sure: bool) -> list[Entry]:
    """The entries with their times moved.

    Args:
        sure: whether the times that come out are as good as those of a right clock; otherwise what was good
            becomes uncertain.
    """
    if shift_ns == 0:
        return list(entries)
    found: list[Entry] = []
    for entry in together(entries):
        if isinstance(entry, Columns):
            good = (entry.quality & _SEVERITY) == 0
            quality = entry.quality if sure else np.where(good, np.uint32(UNCERTAIN), entry.quality)
            found.append(replace(entry, time_ns=entry.time_ns + shift_ns, quality=quality))
        elif entry[0] >= 0 or entry[0] == ALIVE:
            tag, time_ns, value, quality_, first = entry
            weak = UNCERTAIN if not sure and not quality_ & int(_SEVERITY) and tag >= 0 else quality_
            # Whether the source's own time is off by as much as its stamps, nobody knows.
            found.append((tag, time_ns + shift_ns, value, weak, min(first, 1)))
        else:
            found.append(entry)
    return found


def begins_anew(time_ns: int, *, among: bool) -> Entry:
    """The entry that tells a stream that the next ones are of another clock epoch.

    Args:
        time_ns: from which stored time on.
        among: whether times of the epoch before lie beyond it.
    """
    return (SHIFTED, time_ns, 1.0 if among else 0.0, 0, 0)


def is_step(stamps: Stamps, impossible: Mask) -> bool:
    """Whether the clock stepped within a batch, rather than some tags having a clock of their own.

    After a step every sample is of the new clock: a tag goes from the one to the other and never back, and
    more tags are beyond the step than stay before it.
    """
    if impossible.all():
        return False
    near, far = set(stamps.tag[~impossible].tolist()), set(stamps.tag[impossible].tolist())
    for tag in near & far:
        marks = impossible[stamps.tag == tag]
        if bool((marks[:-1] & ~marks[1:]).any()):
            return False
    return len(far) > len(near - far)
