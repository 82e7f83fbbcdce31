"""A subscription's messages in their order: what comes behind one that got lost waits for it."""

from __future__ import annotations

from asyncua import ua

_NUMBERS = 2**32 - 1
"""They begin anew at 1. Source: OPC 10000-4, 5.14.1.1."""

_REMEMBERED = 1000


class InOrder:
    """The messages of one subscription.

    Attributes:
        missing: numbers of the messages that did not come; while there are any, all later ones wait.
    """

    def __init__(self) -> None:
        self.missing: list[int] = []
        self._newest: int | None = None
        self._waiting: list[ua.NotificationMessage] = []

    def come(self, message: ua.NotificationMessage) -> ua.NotificationMessage | None:
        """The message when it is the next one; None when it has to wait."""
        if self.missing:
            self._waiting.append(message)
            return None
        number = int(message.SequenceNumber)
        due = number if self._newest is None else self._newest % _NUMBERS + 1
        missing = (number - due) % _NUMBERS
        if 0 < missing < _NUMBERS // 2:
            self.missing = [(due + n - 1) % _NUMBERS + 1 for n in range(min(missing, _REMEMBERED))]
            self._waiting.append(message)
            return None
        if missing == 0:
            self._newest = number
        return message

    def go_on(self) -> list[ua.NotificationMessage]:
        """No more is to be waited for: the messages that have waited; some of them may have to wait again."""
        waiting, self._waiting, self.missing = self._waiting, [], []
        self._newest = None
        return waiting
