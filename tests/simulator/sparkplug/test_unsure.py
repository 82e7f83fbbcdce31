"""What a host may not have got is kept, and not for ever."""

from __future__ import annotations

from simulator.sparkplug.unsure import Unsure
from tests.support.few_tags import sample


def test_what_may_be_lost_is_kept_for_the_window_and_no_longer_than_the_limit() -> None:
    unsure = Unsure(limit=5, window_s=20.0)
    for second in range(4):
        unsure.keep([sample(0, float(second))], 10.0 * second)
    unsure.forget(35.0)
    assert [s.value for s in unsure.take()] == [2.0, 3.0]
    assert (len(unsure), unsure.lost) == (0, 0)
    for second in range(8):
        unsure.keep([sample(0, float(second))], float(second))
    assert (len(unsure), unsure.lost) == (5, 3)
    assert [s.value for s in unsure.take()] == [3.0, 4.0, 5.0, 6.0, 7.0]
