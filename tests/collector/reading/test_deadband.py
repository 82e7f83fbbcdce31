"""Small changes are left out, slow drifts are not."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from collector import TagMapping
from collector.reading.deadband import Deadband, width_of
from historian import NS


def test_a_slow_drift_is_seen() -> None:
    band = Deadband(0.5)
    kept = [k for k in range(20) if band.passes(k * NS, 10 - 0.1 * k, 0)]
    assert kept == [0, 6, 12, 18]


def test_a_change_of_quality_and_a_minute_always_pass() -> None:
    band = Deadband(5.0)
    assert band.passes(0, 1.0, 0)
    assert not band.passes(NS, 1.0, 0)
    assert band.passes(2 * NS, math.nan, 0x808C0000)
    assert not band.passes(3 * NS, math.nan, 0x808C0000)
    assert band.passes(4 * NS, 1.0, 0)
    assert band.passes(64 * NS, 1.0, 0)


def test_a_time_that_goes_back_passes() -> None:
    band = Deadband(5.0)
    assert band.passes(100 * NS, 1.0, 0)
    assert band.passes(50 * NS, 1.0, 0)


@given(st.lists(st.floats(-100, 100), min_size=1), st.floats(0, 10))
def test_what_is_left_out_lies_within_the_width_of_what_was_kept(values: list[float], width: float) -> None:
    band = Deadband(width)
    kept = values[0]
    for k, value in enumerate(values):
        if band.passes(k, value, 0):
            kept = value
        assert abs(value - kept) <= width


def test_a_share_is_of_what_the_source_says_its_range_is_then_of_the_catalogues() -> None:
    share = TagMapping("filter.inlet.pressure.pv", "P1", "bar", deadband_percent=2.0)
    assert width_of(share, 250.0) == 5.0
    assert width_of(share) == 10.2
    assert width_of(TagMapping("own.level.pv", "L", "1", deadband_percent=2.0)) is None
    assert width_of(TagMapping("own.level.pv", "L", "1", deadband=0.3), 250.0) == 0.3
