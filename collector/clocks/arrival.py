"""When something arrived, in a time that never runs backwards, whatever the edge's clock does."""

from __future__ import annotations

from historian.frame import NS

STEP_NS = 2 * NS
"""From this size on a step of a clock is worth an event."""

FAR_NS = 3600 * NS
"""From this far ahead of the clock on, arrival does not wait for it."""


class Arrival:
    """Makes readings of the edge's clock into arrival times that never fall.

    After the clock was set back, arrival goes on at half speed until the clock has caught up: rules that wait
    for time to pass would otherwise stand still for as long as the step was. Where that would take hours, it
    goes on as fast as the clock does, and never catches up.

    Args:
        start_ns: an arrival time that was given before, by an earlier run; none is given below it.

    Attributes:
        newest_ns: the newest arrival time given.
        stepped_back_ns: how far the clock went back before the last reading; 0 when it did not.
    """

    def __init__(self, start_ns: int | None = None) -> None:
        self._read_ns = start_ns
        self.newest_ns = start_ns or 0
        self.stepped_back_ns = 0

    def at(self, now_ns: int) -> int:
        """The arrival time that belongs to a reading of the clock; sets ``stepped_back_ns``.

        Example:
            >>> a = Arrival()
            >>> [a.at(t) for t in (100, 110, 50, 60, 80, 200)]
            [100, 110, 110, 115, 125, 200]
        """
        if self._read_ns is None:
            self._read_ns = self.newest_ns = now_ns
            return now_ns
        passed_ns = now_ns - self._read_ns
        self.stepped_back_ns = max(0, -passed_ns)
        self._read_ns = now_ns
        slowed_ns = passed_ns if self.newest_ns - now_ns > FAR_NS else passed_ns // 2
        self.newest_ns = max(now_ns, self.newest_ns + max(0, slowed_ns))
        return self.newest_ns
