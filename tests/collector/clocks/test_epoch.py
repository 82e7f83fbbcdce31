"""Where a clock epoch begins: beside the one before where there is room, else among it, and told."""

from __future__ import annotations

import math

import pytest

from collector.clocks.epoch import Epoch
from historian import NS

NOW = 1_800_000_000 * NS
HOUR = 3600 * NS


def test_a_clock_near_its_arrival_is_right_and_nothing_is_added() -> None:
    epoch = Epoch.of(NOW - 2 * NS, NOW - 3 * NS, NOW, NOW - 10 * NS)
    assert (epoch.is_right, epoch.shift_ns, epoch.is_among) == (True, 0, False)


@pytest.mark.parametrize("offset_ns", [HOUR, -HOUR, 400 * 24 * HOUR, 17 * NS])
def test_a_wrong_clock_is_brought_to_its_arrival(offset_ns: int) -> None:
    newest_ns = NOW + offset_ns
    epoch = Epoch.of(newest_ns, newest_ns - NS, NOW, NOW - 100 * NS)
    assert not epoch.is_right and epoch.shift_ns % 1_000_000 == 0
    assert abs(newest_ns + epoch.shift_ns - NOW) < 1_000_000
    # A minute before its oldest sample, for tags that come later, but behind what is stored.
    assert epoch.begun_ns == NOW - 61 * NS and epoch.records() == [(epoch.begun_ns, epoch.shift_ns / 1e6)]


def test_it_begins_behind_what_is_stored() -> None:
    epoch = Epoch.of(NOW + HOUR, NOW + HOUR - NS, NOW, NOW - 3 * NS)
    assert epoch.begun_ns == NOW - 3 * NS + 1 and not epoch.is_among


def test_it_makes_room_by_a_little_more_shift() -> None:
    epoch = Epoch.of(NOW + HOUR, NOW + HOUR, NOW, NOW + NS)
    assert epoch.shift_ns == 2 * NS - HOUR and not epoch.is_among
    assert epoch.begun_ns == NOW + NS + 1


def test_without_room_it_says_up_to_where_nobody_can_tell() -> None:
    epoch = Epoch.of(NOW + HOUR, NOW + HOUR - 60 * NS, NOW, NOW)
    assert epoch.is_among and epoch.begun_ns == NOW - 60 * NS
    (begun_ns, unknown), (from_ns, shift_ms) = epoch.records()
    assert (begun_ns, from_ns, shift_ms) == (epoch.begun_ns, NOW + 1, -3_600_000.0) and math.isnan(unknown)
