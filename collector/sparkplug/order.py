"""The order of an edge node's messages by their numbers.

Source: Sparkplug specification 3.0, tck-id-payloads-sequence-num-incrementing and
tck-id-operational-behavior-host-reordering-start, -rebirth and -success.
"""

from __future__ import annotations

from typing import Final, Generic, TypeVar

NUMBERS: Final = 256
_MOST: Final = 200  # messages that wait for one that is missing

T = TypeVar("T")


class Order(Generic[T]):
    """Hands on messages in the order of their numbers; what comes too early waits for what is missing.

    Args:
        next_seq: number of the next message.
        timeout_ns: how long something may be missing.
    """

    def __init__(self, next_seq: int, timeout_ns: int) -> None:
        self._next = next_seq % NUMBERS
        self._timeout_ns = timeout_ns
        self._early: dict[int, T] = {}
        self._since_ns: int | None = None
        self._full = False

    def take(self, seq: int, message: T, now_ns: int) -> list[T]:
        """The messages that are due now that this one has come.

        Example:
            >>> order: Order[str] = Order(255, 2_000_000_000)
            >>> order.take(0, "b", 0), order.take(255, "a", 1)
            ([], ['a', 'b'])
        """
        if seq != self._next:
            if seq in self._early or len(self._early) >= _MOST or not 0 <= seq < NUMBERS:
                self._full = True
            self._early.setdefault(seq, message)
            if self._since_ns is None:
                self._since_ns = now_ns
            return []
        due = [message]
        self._next = (self._next + 1) % NUMBERS
        while self._next in self._early:
            due.append(self._early.pop(self._next))
            self._next = (self._next + 1) % NUMBERS
        self._since_ns = now_ns if self._early else None
        return due

    def broken(self, now_ns: int) -> bool:
        """Whether something has been missing for too long, or cannot come any more."""
        return self._full or (self._since_ns is not None and abs(now_ns - self._since_ns) >= self._timeout_ns)

    def release(self) -> tuple[list[T], int]:
        """What waits, in order, and how many messages are missing before the last of it; hands it over."""
        early = sorted(self._early.items(), key=lambda item: (item[0] - self._next) % NUMBERS)
        self._early, self._since_ns, self._full = {}, None, False
        span = (early[-1][0] - self._next) % NUMBERS + 1 if early else 0
        return [message for _, message in early], max(0, span - len(early))
