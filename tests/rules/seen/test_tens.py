"""Ten seconds of every signal in a few numbers."""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from historian.frame import NS
from rules.block import Rows
from rules.seen.tens import TensMaker
from tests.rules.detectors.signals import T0_NS, seconds_of


def rows(first: int, last: int, value: float | None = None) -> Rows:
    seconds = np.arange(first, last)
    values = seconds.astype(float) if value is None else np.full(len(seconds), value)
    return Rows(T0_NS + seconds * NS, values[:, None])


def test_tens_are_aligned_and_given_when_they_are_over():
    first, second = TensMaker(1).of(rows(5, 27))
    assert (seconds_of(first.time_ns), seconds_of(second.time_ns)) == (9, 19)
    assert first.rows[:, 0].tolist() == [5, 6, 7, 8, 9]
    assert (second.mean[0], second.low[0], second.high[0], second.last[0]) == (14.5, 10, 19, 19)


def test_few_known_seconds_do_not_stand_for_ten():
    made = rows(0, 21)
    made.value[:6] = np.nan
    made.value[19] = np.nan
    few, enough = TensMaker(1).of(made)
    assert np.isnan([few.mean[0], few.low[0], few.high[0]]).all() and few.last[0] == 9
    assert enough.mean[0] == 14 and np.isnan(enough.last[0])


@given(st.lists(st.integers(1, 59), max_size=8))
def test_cuts_and_restarts_change_nothing(cuts: list[int]):
    whole = rows(0, 60)
    straight = TensMaker(1).of(whole)
    maker, pieces = TensMaker(1), []
    edges = [0, *sorted(cuts), 60]
    for a, b in pairwise(edges):
        text = json.dumps(maker.save(), allow_nan=False)
        maker = TensMaker(1)
        maker.restore(json.loads(text))
        pieces += maker.of(Rows(whole.time_ns[a:b], whole.value[a:b]))
    assert [(w.time_ns, w.mean[0], w.last[0]) for w in pieces] == [
        (w.time_ns, w.mean[0], w.last[0]) for w in straight
    ]
