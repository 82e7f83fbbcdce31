"""Which samples of a tag are worth keeping, when the user asked to leave small changes out."""

from __future__ import annotations

import math

from collector.reading.mapping import TagMapping
from historian.catalogue import meaning_of
from historian.frame import NS


def width_of(mapping: TagMapping, range_width: float | None = None) -> float | None:
    """Smallest change of a tag that is kept, in its unit; 0 keeps every sample, None when it cannot be told.

    Args:
        mapping: says the change itself, or its share of the tag's range.
        range_width: how wide the range is by what the source says, in the tag's unit; that of the catalogue
            counts where it says nothing.

    Example:
        >>> pressure = TagMapping("filter.inlet.pressure.pv", "P1", "bar", deadband_percent=2.0)
        >>> width_of(pressure), width_of(pressure, 300.0)
        (10.2, 6.0)
    """
    if mapping.deadband_percent == 0.0:
        return mapping.deadband
    if range_width is None:
        meaning = meaning_of(mapping.path)
        if meaning is None or not math.isfinite(meaning.high - meaning.low):
            return None
        range_width = meaning.high - meaning.low
    return mapping.deadband_percent * range_width / 100.0


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
