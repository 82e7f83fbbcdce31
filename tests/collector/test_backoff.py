"""Waits grow, stay near their size, and start again."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from collector.backoff import Backoff


@given(st.integers(0, 2**32), st.floats(0, 1))
def test_waits_lie_within_the_jitter_of_the_doubled_ones(seed: int, jitter: float) -> None:
    backoff = Backoff(0.5, 4.0, jitter=jitter, rng=random.Random(seed))
    for plain in (0.5, 1.0, 2.0, 4.0, 4.0):
        assert plain * (1 - jitter) <= backoff.next_s() <= plain * (1 + jitter)
    backoff.reset()
    assert backoff.next_s() <= 0.5 * (1 + jitter)


def test_two_clients_do_not_knock_together() -> None:
    a, b = Backoff(1.0, 8.0, rng=random.Random(1)), Backoff(1.0, 8.0, rng=random.Random(2))
    assert [a.next_s() for _ in range(3)] != [b.next_s() for _ in range(3)]
