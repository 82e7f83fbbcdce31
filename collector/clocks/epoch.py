"""Where a clock epoch begins and what is added in it, from what its first batch shows; pure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Self

from collector.clocks.wrong import BEHIND_NS, FUTURE_NS, MS, shift_for, whole_ms
from historian.frame import NS

_APART_NS: Final = NS  # room before an epoch for tags whose samples come a little later than the first
_BEFORE_NS: Final = 60 * NS


@dataclass(frozen=True, slots=True)
class Epoch:
    """A clock epoch of a source.

    Attributes:
        is_right: whether its clock is right, and nothing is added.
        shift_ns: what is added to its stamps, whole milliseconds.
        begun_ns: the stored time from which it counts.
        known_ns: the newest stored time of the epoch before, where that lies in this one; else None. Between
            the two nobody can tell what was added.
    """

    is_right: bool
    shift_ns: int
    begun_ns: int
    known_ns: int | None

    @classmethod
    def of(cls, newest_ns: int, oldest_ns: int | None, now_ns: int, stored_ns: int | None) -> Self:
        """The epoch that a batch begins; it shares no stored time with the one before where that can be had.

        Args:
            newest_ns: the newest time that the source shows.
            oldest_ns: the oldest one of the batch; None where it holds no sample.
            now_ns: what the time is.
            stored_ns: the newest stored time of the source; None where nothing is stored.

        Example:
            An hour ahead, and nothing is stored yet:

            >>> Epoch.of(4600 * NS, 4599 * NS, 1000 * NS, None)
            Epoch(is_right=False, shift_ns=-3600000000000, begun_ns=939000000000, known_ns=None)
        """
        offset_ns = newest_ns - now_ns
        is_right = -BEHIND_NS <= offset_ns <= FUTURE_NS
        shift_ns = 0 if is_right else shift_for(offset_ns)
        low_ns = now_ns if oldest_ns is None else oldest_ns + shift_ns
        short_ns = 0 if stored_ns is None else stored_ns + _APART_NS - low_ns
        if short_ns > 0 and shift_ns and newest_ns + shift_ns + short_ns <= now_ns + FUTURE_NS - NS:
            shift_ns += whole_ms(short_ns)
            low_ns += whole_ms(short_ns)
        if stored_ns is None:
            return cls(is_right, shift_ns, low_ns - _BEFORE_NS, None)
        if low_ns <= stored_ns:
            return cls(is_right, shift_ns, low_ns, stored_ns)
        return cls(is_right, shift_ns, max(low_ns - _BEFORE_NS, stored_ns + 1), None)

    @property
    def is_among(self) -> bool:
        """Whether times of the epoch before lie beyond its beginning."""
        return self.known_ns is not None

    def records(self) -> list[tuple[int, float]]:
        """Stored time and shift from there on, milliseconds; NaN where nobody can tell."""
        shift_ms = self.shift_ns / MS
        if self.known_ns is None:
            return [(self.begun_ns, shift_ms)]
        return [(self.begun_ns, math.nan), (self.known_ns + 1, shift_ms)]
