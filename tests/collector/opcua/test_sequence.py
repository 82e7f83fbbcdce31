"""Messages come out in order; what is missing is known by number."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from asyncua import ua
from hypothesis import given
from hypothesis import strategies as st

from collector.opcua.sequence import InOrder

T = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)


def message(number: int) -> ua.NotificationMessage:
    return ua.NotificationMessage(number, T, [])


@pytest.mark.parametrize(
    ("numbers", "missing"),
    [
        ((4, 5, 6), []),
        ((1, 3), [2]),
        ((1, 5), [2, 3, 4]),
        ((2**32 - 2, 2), [2**32 - 1, 1]),
        ((2**32 - 1, 1), []),
        ((7, 7), []),
        ((7, 3), []),
    ],
)
def test_what_is_missing(numbers: tuple[int, ...], missing: list[int]) -> None:
    order = InOrder()
    for number in numbers:
        order.come(message(number))
    assert order.missing == missing


@given(st.lists(st.booleans(), min_size=1, max_size=30))
def test_nothing_is_lost_while_it_waits_and_the_order_stays(arrives: list[bool]) -> None:
    order = InOrder()
    out: list[int] = []
    sent = [n for n, here in enumerate(arrives, 1) if here]
    waiting = [message(n) for n in sent]
    while waiting:
        for one in waiting:
            if order.come(one) is not None:
                out.append(one.SequenceNumber)
        waiting = order.go_on() if order.missing else []
    assert out == sent
