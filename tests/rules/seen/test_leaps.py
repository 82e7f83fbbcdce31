"""A source whose clock has leapt ahead does not carry the others with it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from historian.frame import NS, Series
from rules.block import Block
from rules.seen.leaps import Leaps
from tests.rules.detectors.signals import T0_NS, series, tags_of

DP, FLOW = "filter.dp.calc", "water.flow.pv"
TAGS = {**tags_of([DP], "filter"), FLOW: replace(tags_of([FLOW], "water")[FLOW], id=2)}


def block(dp_ahead_s: float, flow_ahead_s: float, at_s: int = 0) -> Block:
    seconds = np.arange(at_s, at_s + 10)
    found: dict[str, Series] = {
        DP: series(seconds + dp_ahead_s, 30.0),
        FLOW: series(seconds + flow_ahead_s, 22.0),
    }
    return Block(found, T0_NS + (at_s + 10) * NS)


def test_a_source_an_hour_ahead_is_left_out_and_taken_again():
    leaps = Leaps(TAGS)
    assert leaps.without(block(0, 0)).paths() == [DP, FLOW]
    assert leaps.without(block(0, 3600, 10)).paths() == [DP]
    assert leaps.without(block(0, 0, 20)).paths() == [DP, FLOW]


def test_a_clock_a_few_seconds_ahead_is_looked_at():
    assert Leaps(TAGS).without(block(0, 7.2)).paths() == [DP, FLOW]


def test_sources_that_all_count_time_of_their_own_are_believed():
    assert Leaps(TAGS).without(block(7200, 7200)).paths() == [DP, FLOW]


def test_what_was_stamped_before_the_leap_is_kept():
    leaps = Leaps(TAGS)
    mixed = block(0, 0)
    late = series(np.r_[0:5, 3605:3610], 22.0)
    kept = leaps.without(Block({DP: mixed.series(DP), FLOW: late}, mixed.arrival_ns))
    assert len(kept.series(FLOW)) == 5 and len(kept.series(DP)) == 10


def test_it_goes_on_after_a_restart():
    leaps, again = Leaps(TAGS), Leaps(TAGS)
    leaps.without(block(0, 0))
    again.restore(leaps.save())
    only = Block({FLOW: series(np.arange(10) + 3600, 22.0)}, T0_NS + 10 * NS)
    assert leaps.without(only).paths() == again.without(only).paths() == []
