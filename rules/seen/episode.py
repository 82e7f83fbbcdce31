"""Whether something holds, after an on-delay and an off-delay: one episode, never an event a sample."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from historian.frame import NS


class Episode:
    """A condition that is judged again and again, in source time.

    It begins when it has held for ``on_s`` and ends when it has not held for ``off_s``. While it cannot be
    judged nothing changes, and what had been seen of it so far counts no more.

    Args:
        on_s, off_s: how long it must hold, and be gone; 0: at once.

    Attributes:
        standing: whether it holds.
        onset_ns: since when it has been seen, UTC nanoseconds; 0 while it is not.
    """

    def __init__(self, on_s: float, off_s: float) -> None:
        self._on_ns, self._off_ns = int(on_s * NS), int(off_s * NS)
        self.standing = False
        self.onset_ns = 0
        self._since_ns: int | None = None  # since when it is otherwise than ``standing``

    def judge(self, time_ns: int, holds: bool | None) -> int:
        """Take the next judgement; None: it could not be judged.

        Returns:
            1 when it began with this, -1 when it ended, else 0.
        """
        if holds is None or holds == self.standing:
            self._since_ns = None
            return 0
        if self._since_ns is None:
            self._since_ns = time_ns
        if time_ns - self._since_ns < (self._off_ns if self.standing else self._on_ns):
            return 0
        self.standing = not self.standing
        self.onset_ns = self._since_ns
        self._since_ns = None
        return 1 if self.standing else -1

    @property
    def waits(self) -> bool:
        """Whether one of the delays is running."""
        return self._since_ns is not None

    def save(self) -> list[int | bool | None]:
        """The state as JSON types."""
        return [self.standing, self.onset_ns, self._since_ns]

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self.standing, self.onset_ns, self._since_ns = state


class Episodes(dict[str, Episode]):
    """Episodes by subject, made when first asked for."""

    def __init__(self, on_s: float, off_s: float) -> None:
        super().__init__()
        self._delays = (on_s, off_s)

    def __missing__(self, subject: str) -> Episode:
        self[subject] = Episode(*self._delays)
        return self[subject]

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {subject: episode.save() for subject, episode in self.items()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self.clear()
        for subject, saved in state.items():
            self[subject].restore(saved)
