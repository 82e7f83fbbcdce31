"""Which times cannot be true: one sample and many alike, whatever is added and wherever the epoch began."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from collector.clocks.bounds import Bounds
from collector.clocks.stamps import Stamps
from historian import NS
from historian.frame import TagIds, Times

NOW = 1_800_000_000 * NS
DAY = 86_400 * NS


def stamps(*sent: tuple[int, int]) -> Stamps:
    tag, time_ns = zip(*sent, strict=True)
    return Stamps(np.array(tag, np.int32), np.array(time_ns), np.ones(len(tag), np.bool_), None, False)


@given(
    st.lists(st.integers(-400, 400), min_size=1, max_size=6),
    st.sampled_from([0, -DAY, DAY, 3600 * NS]),
    st.one_of(st.none(), st.integers(-50, 0)),
)
def test_many_are_judged_as_each_is(days: list[int], shift_ns: int, begun: int | None) -> None:
    bounds = Bounds(NOW, shift_ns, None if begun is None else NOW + begun * DAY)
    times = [NOW + n * DAY // 10 for n in days]
    found = bounds.impossible(stamps(*((1, t) for t in times)))
    assert found.tolist() == [bounds.is_impossible(t) for t in times]


def test_what_is_ahead_too_old_or_before_its_epoch_cannot_be_true() -> None:
    right, shifted = Bounds(NOW, 0, NOW - DAY), Bounds(NOW, -DAY, NOW - 3600 * NS)
    assert [right.is_impossible(NOW + s * NS) for s in (4, 6)] == [False, True]
    assert [right.is_impossible(NOW - d * DAY) for d in (2, 29, 31)] == [False, False, True]
    assert [shifted.is_impossible(NOW + DAY - s * NS) for s in (0, 3599, 3601)] == [False, False, True]


def test_a_first_value_may_be_older_than_a_running_one() -> None:
    one = stamps((1, NOW - 40 * DAY))
    first = Stamps(one.tag, one.time_ns, np.zeros(1, np.bool_), None, False)
    bounds = Bounds(NOW, 0, None)
    assert bounds.impossible(one).tolist() == [True] and bounds.impossible(first).tolist() == [False]


def test_a_tag_has_gone_back_while_another_goes_on() -> None:
    def known_ns(tag: TagIds) -> Times:
        return np.where(tag == 1, NOW - NS, -(2**63) + 2 * DAY)

    bounds = Bounds(NOW, 0, None)
    assert bounds.gone_back(stamps((1, NOW - DAY), (2, NOW)), known_ns) == {1}
    assert bounds.gone_back(stamps((2, NOW), (2, NOW - DAY)), known_ns) == {2}
    assert bounds.gone_back(stamps((2, NOW - DAY), (1, NOW)), known_ns) == set()  # nothing is known of it
    assert bounds.gone_back(stamps((1, NOW - DAY)), known_ns) == set()  # nothing goes on
    assert bounds.gone_back(stamps((1, NOW - 300 * NS), (2, NOW)), known_ns) == set()  # late
