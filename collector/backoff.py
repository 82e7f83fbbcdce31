"""How long to wait before the next try."""

from __future__ import annotations

import random


class Backoff:
    """Waits that double from the first to the longest, each off by a random part.

    The random part keeps many clients of one machine from knocking at the same moment after its restart.

    Args:
        first_s, longest_s: the shortest and the longest wait before the random part.
        jitter: the random part as a share of the wait, 0 to 1: each wait lies within
            1 - jitter and 1 + jitter of it.
        rng: where the random part comes from.

    Example:
        >>> b = Backoff(1.0, 5.0, jitter=0.0)
        >>> [b.next_s() for _ in range(4)]
        [1.0, 2.0, 4.0, 5.0]
    """

    def __init__(
        self, first_s: float, longest_s: float, *, jitter: float = 0.25, rng: random.Random | None = None
    ) -> None:
        self.first_s, self.longest_s, self.jitter = first_s, longest_s, jitter
        self._rng = rng or random.Random()
        self._wait_s = first_s

    def next_s(self) -> float:
        """The wait before the next try, seconds."""
        wait_s = self._wait_s
        self._wait_s = min(wait_s * 2, self.longest_s)
        return wait_s * (1 + self.jitter * (2 * self._rng.random() - 1))

    def reset(self) -> None:
        """Start again from the first wait: the try worked."""
        self._wait_s = self.first_s
