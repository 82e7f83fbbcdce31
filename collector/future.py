"""Samples that come from the future: what time they are kept under instead."""

from __future__ import annotations

from collections.abc import Mapping

from historian.frame import NS

FUTURE_NS = 5 * NS
"""A source time this far after arrival cannot be true."""


class Future:
    """Brings time stamps from the future back to the time of arrival, one offset a tag.

    The offset stays as long as it fits, so that samples keep their distances in time. An episode begins
    with the first such sample of a source and ends with the first batch that has none.
    """

    def __init__(self) -> None:
        self._ahead_ns: dict[int, int] = {}

    def look(self, newest_ns: Mapping[int, int], arrival_ns: int) -> bool:
        """Learn a batch's offsets.

        Args:
            newest_ns: newest source time of each tag that has samples from the future in the batch.
            arrival_ns: of the batch.

        Returns:
            whether an episode begins here.
        """
        begins = not self._ahead_ns and bool(newest_ns)
        for tag, time_ns in newest_ns.items():
            ahead_ns = self._ahead_ns.get(tag)
            if ahead_ns is None or abs(time_ns - ahead_ns - arrival_ns) > FUTURE_NS:
                self._ahead_ns[tag] = time_ns - arrival_ns
        return begins

    def stamp(self, tag: int, time_ns: int) -> int:
        """The time that a sample from the future is kept under."""
        return time_ns - self._ahead_ns[tag]

    def over(self) -> bool:
        """End the episode; whether there was one."""
        was = bool(self._ahead_ns)
        self._ahead_ns.clear()
        return was
