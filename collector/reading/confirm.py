"""Which values a connected source still stands by although it did not send them again.

Machines send a value when it changes. A value that did not come again for a minute is kept once more, at the
source's current time, so that a flat line can be told from a dead source.
"""

from __future__ import annotations

from collections import deque

from historian.frame import NS

Confirmed = tuple[int, int, float, int]
"""Tag number, source time in UTC nanoseconds, value, quality."""

_SETTLE_NS = 2 * NS  # a change may be on its way for this long; what is confirmed lies before it
_LOOK_EVERY_NS = NS


class Confirm:
    """Watches the tags of one source.

    Args:
        after_s: how long a tag may be silent, seconds of arrival.
    """

    def __init__(self, after_s: float = 60.0) -> None:
        self._after_ns = int(after_s * NS)
        self._heard: dict[int, tuple[int, float, int]] = {}
        self._clock: deque[tuple[int, int]] = deque()
        self._looked_ns = 0

    def heard(self, tag: int, value: float, quality: int, known_ns: int) -> None:
        """A tag's value was sent; it was known to hold at ``known_ns`` of arrival."""
        self._heard[tag] = (known_ns, value, quality)

    def source_at(self, source_ns: int, arrival_ns: int) -> None:
        """The newest source time known at an arrival time."""
        if self._clock and source_ns <= self._clock[-1][1]:
            return
        self._clock.append((arrival_ns, source_ns))
        while len(self._clock) > 1 and self._clock[1][0] <= arrival_ns - _SETTLE_NS:
            self._clock.popleft()

    def lost(self) -> None:
        """The source is gone: it stands by nothing until it sends again."""
        self._heard.clear()
        self._clock.clear()

    def stepped(self) -> None:
        """The source's clock stepped: it stands by its values, but at times to be learnt anew."""
        self._clock.clear()

    def due(self, arrival_ns: int) -> list[Confirmed]:
        """The values to be kept again now."""
        if arrival_ns - self._looked_ns < _LOOK_EVERY_NS or not self._clock:
            return []
        self._looked_ns = arrival_ns
        at_ns, source_ns = self._clock[0]
        if at_ns > arrival_ns - _SETTLE_NS:
            return []
        silent = [t for t, (known_ns, _, _) in self._heard.items() if arrival_ns - known_ns >= self._after_ns]
        found: list[Confirmed] = []
        for tag in silent:
            _, value, quality = self._heard[tag]
            self._heard[tag] = (at_ns, value, quality)
            found.append((tag, source_ns, value, quality))
        return found
