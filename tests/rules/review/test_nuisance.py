"""Chattering, fleeting, stale and standing alarms."""

from __future__ import annotations

from datetime import UTC

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.entry import ActKind
from rules.review import histories
from rules.review.nuisance import chatter, most_stale_on_a_day, most_standing, nuisance_of, stale_spells
from rules.review.rates import days
from tests.rules.review.told import MONTH, Told, at

DAY = 86_400


@given(st.lists(st.integers(0, 300), max_size=20))
def test_chattering_against_every_minute(seconds: list[int]) -> None:
    in_order = sorted(seconds)
    minutes = [{i for i, s in enumerate(in_order) if t <= s < t + 60} for t in in_order]
    expected = set().union(*(m for m in minutes if len(m) >= 3))
    marked = chatter(np.array([at(s) for s in in_order], dtype=np.int64))
    assert set(np.flatnonzero(marked).tolist()) == expected


def test_chattering_and_fleeting_exclude_one_another() -> None:
    told = Told()
    for start in (0, 20, 40):  # chatters
        told.spell(start, start + 5)
    told.spell(1000, 1059)  # fleeting
    told.spell(2000, 2060)  # a whole minute is not
    told.spell(3000, None)
    found = nuisance_of(histories(told.entries)[0], MONTH)
    assert (found.chattering, found.fleeting) == (3, 1)


def test_what_nobody_was_told_of_does_not_annoy() -> None:
    told = Told()
    told.spell(0, 5)
    told.act(6, ActKind.SHELVE, until=3000)
    for start in (10, 20, 30, 1000):
        told.spell(start, start + 5)
    found = nuisance_of(histories(told.entries)[0], MONTH)
    assert (found.chattering, found.fleeting) == (0, 1)


@pytest.mark.parametrize(("length", "stale"), [(DAY, 0), (DAY + 1, 1), (3 * DAY, 1)])
def test_stale_is_longer_than_a_day(length: int, stale: int) -> None:
    told = Told()
    told.spell(0, length)
    one = histories(told.entries)[0]
    assert len(stale_spells(one, MONTH)) == stale
    assert most_stale_on_a_day([one], MONTH, days(MONTH, UTC)) == stale


def test_a_shelved_alarm_is_not_stale_while_it_is_shelved() -> None:
    told = Told()
    told.found(0, True)
    told.act(DAY / 2, ActKind.OUT_OF_SERVICE)
    one = histories(told.entries)[0]
    assert stale_spells(one, MONTH) == []
    told.act(2 * DAY, ActKind.IN_SERVICE)
    (stale,) = stale_spells(histories(told.entries)[0], MONTH)
    assert (stale.start_ns, stale.end_ns) == (at(2 * DAY), MONTH.end_ns)


def test_stale_alarms_are_counted_day_by_day() -> None:
    told = Told()
    for n in range(6):
        told.spell(n * 2 * DAY, n * 2 * DAY + 1.5 * DAY, subject=f"filter.plate.{n}")
    assert most_stale_on_a_day(histories(told.entries), MONTH, days(MONTH, UTC)) == 1
    for n in range(3):
        told.spell(20 * DAY, 23 * DAY, subject=f"filter.plate.{n}")
    assert most_stale_on_a_day(histories(told.entries), MONTH, days(MONTH, UTC)) == 3


def test_standing_alarms_that_follow_one_another_do_not_stand_together() -> None:
    told = Told()
    told.spell(0, 10, subject="a")
    told.spell(10, 20, subject="b")
    assert most_standing(histories(told.entries), MONTH) == 1
    told.spell(15, 30, subject="c")
    assert most_standing(histories(told.entries), MONTH) == 2
