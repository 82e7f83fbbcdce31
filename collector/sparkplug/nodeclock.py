"""What the clock shows that stamps a node's values."""

from __future__ import annotations

from typing import Final

from historian.frame import NS

_OFF_NS: Final = 2 * NS
_SAME_NS: Final = 60 * NS


class NodeClock:
    """A node's values are often stamped by another computer than the one that sends them.

    So the newest values tell what that clock shows; the time stamp of a message counts where it can be of the
    same clock. A clock that is right within two seconds counts as this computer's.
    """

    def __init__(self) -> None:
        self._last_ns: int | None = None
        self._offset_ns = 0

    def set(self, newest_ns: int, now_ns: int) -> None:
        """Values came, the newest of them stamped so."""
        self._last_ns = newest_ns
        self._offset_ns = newest_ns - now_ns

    def born(self, newest_ns: int | None, sent_ns: int, now_ns: int) -> int:
        """What it showed at a birth, whose values may all be old.

        Args:
            newest_ns: time stamp of the newest value in it; None when there is none.
            sent_ns: when the birth was sent, by its own word.
        """
        known_ns = self.said(sent_ns, now_ns)
        born_ns = known_ns if newest_ns is None else max(known_ns, newest_ns)
        if self._last_ns is None:
            self.set(born_ns, now_ns)
        return born_ns

    def said(self, sent_ns: int, now_ns: int) -> int:
        """What it showed when a message was sent, by the message's own word if that can be."""
        at_ns = self.at(now_ns)
        return sent_ns if self._last_ns is None or abs(sent_ns - at_ns) <= _SAME_NS else at_ns

    def at(self, now_ns: int) -> int:
        """What it shows now."""
        return now_ns + self._offset_ns if abs(self._offset_ns) > _OFF_NS else now_ns

    def last(self, now_ns: int) -> int:
        """When it last stamped something that came in its turn."""
        return self.at(now_ns) if self._last_ns is None else self._last_ns
