"""Messages on their way to a broker: kept until acknowledged, sent again after an outage, in order."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Message:
    """One message.

    Attributes:
        topic: where it goes.
        payload: what it says.
        qos: 0 or 1.
        samples: how many samples it carries.
    """

    topic: str
    payload: bytes
    qos: int = 0
    samples: int = 0


class Outbox:
    """A bounded queue with a window of messages in flight.

    Args:
        limit: messages that wait at most; beyond it the oldest one is lost.
        window: see below.

    Attributes:
        window: messages in flight at most.
        lost: samples that were lost so far because the queue was full.
    """

    def __init__(self, *, limit: int, window: int) -> None:
        self.window = window
        self.lost = 0
        self._limit = limit
        self._waiting: deque[Message] = deque()
        self._flying: deque[tuple[int, Message]] = deque()
        self._acknowledged: set[int] = set()

    def __len__(self) -> int:
        return len(self._waiting) + len(self._flying)

    def put(self, message: Message) -> None:
        """Add a message at the end."""
        self._waiting.append(message)
        if len(self._waiting) > self._limit:
            self.lost += self._waiting.popleft().samples

    def next(self) -> Message | None:
        """The message to be sent now; None: nothing waits, or enough is in flight."""
        return self._waiting[0] if self._waiting and len(self._flying) < self.window else None

    def sent(self, number: int) -> None:
        """The message that ``next`` gave was handed over under that number."""
        self._flying.append((number, self._waiting.popleft()))

    def acknowledged(self, number: int) -> None:
        """The broker has the message of that number."""
        self._acknowledged.add(number)
        while self._flying and self._flying[0][0] in self._acknowledged:
            self._acknowledged.discard(self._flying.popleft()[0])

    def rewind(self) -> None:
        """The connection is gone: what is in flight is to be sent again, before what waits."""
        self._waiting.extendleft(message for _, message in reversed(self._flying))
        self._flying.clear()
        self._acknowledged.clear()
