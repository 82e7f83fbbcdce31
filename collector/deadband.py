"""Which samples of a tag are worth keeping, when the user asked to leave small changes out."""

from __future__ import annotations

import math

from historian.frame import NS


class Deadband:
    """Lets through what differs from the last kept sample by more than the width, or is old enough.

    Done here and not at the machine: some servers compare with the previous sample instead of the last one
    that they reported, and then a slow drift is never seen.

    Args:
        width: smallest change that is kept, in the tag's unit.
        longest_s: a sample this much later than the last kept one is kept whatever it says, seconds.
    """

    __slots__ = ("_longest_ns", "_quality", "_time_ns", "_value", "_width")

    def __init__(self, width: float, longest_s: float = 60.0) -> None:
        self._width = width
        self._longest_ns = int(longest_s * NS)
        self._time_ns: int | None = None
        self._value = math.nan
        self._quality = 0

    def passes(self, time_ns: int, value: float, quality: int) -> bool:
        """Whether the sample is kept; what was kept is what the next one is compared with."""
        if self._time_ns is not None and quality == self._quality:
            small = abs(value - self._value) <= self._width or (math.isnan(value) and math.isnan(self._value))
            if small and 0 <= time_ns - self._time_ns < self._longest_ns:
                return False
        self._time_ns, self._value, self._quality = time_ns, value, quality
        return True
