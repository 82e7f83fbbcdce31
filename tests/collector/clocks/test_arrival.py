"""Arrival never falls and never stands still for long."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from collector.clocks.arrival import FAR_NS, Arrival
from historian import NS


@given(st.lists(st.integers(0, 2**60), min_size=2))
def test_never_falls_and_never_lags_the_clock(readings: list[int]) -> None:
    arrival = Arrival()
    given_ns = [arrival.at(r) for r in readings]
    assert all(a <= b for a, b in pairwise(given_ns))
    assert all(g >= r for g, r in zip(given_ns, readings, strict=True))


def test_goes_on_at_half_speed_after_a_step_back() -> None:
    arrival = Arrival()
    arrival.at(1000 * NS)
    arrival.at(1001 * NS)
    assert arrival.stepped_back_ns == 0
    assert arrival.at(701 * NS) == 1001 * NS
    assert arrival.stepped_back_ns == 300 * NS
    assert arrival.at(711 * NS) == 1006 * NS
    assert arrival.stepped_back_ns == 0
    assert arrival.at(1400 * NS) == 1400 * NS


def test_far_ahead_of_the_clock_it_does_not_wait() -> None:
    """Half speed for a year would keep every rule slow for a year."""
    arrival = Arrival(10 * FAR_NS)
    assert arrival.at(1000) == 10 * FAR_NS
    assert arrival.at(3000) == 10 * FAR_NS + 2000
    assert arrival.stepped_back_ns == 0
