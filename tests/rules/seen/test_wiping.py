"""A cleaning is waited for; a wiper that never stops is not."""

from __future__ import annotations

from math import inf

from rules.seen.wiping import NEVER_STOPS_S, Wiping

NS = 10**9


def test_counts_from_the_last_move():
    wiping = Wiping()
    assert wiping.wiped_s == inf
    for second, moves in ((0, False), (10, True), (20, True), (30, False), (40, False)):
        wiping.push(second * NS, moves=moves)
    assert wiping.wiped_s == 20.0


def test_a_wiper_that_never_stops_cleans_all_the_time():
    wiping = Wiping()
    for second in range(0, int(NEVER_STOPS_S) + 20, 10):
        wiping.push(second * NS, moves=True)
    assert wiping.wiped_s == inf
    wiping.push(400 * NS, moves=False)
    wiping.push(410 * NS, moves=True)
    assert wiping.wiped_s == 0.0
