"""A gap begins once, and ends where the source stands by a value again."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from collector.gaps.marks import MARK_AFTER_NS, GapMarks
from historian import NS

T = 1_000 * NS


def test_each_tag_is_marked_after_the_newest_sample_of_the_source() -> None:
    gaps = GapMarks()
    assert gaps.open([(1, T - 50 * NS), (2, T)], T) == [(1, T + MARK_AFTER_NS), (2, T + MARK_AFTER_NS)]
    assert gaps.open([(1, T - 50 * NS), (2, T)], T) == []
    assert 1 in gaps and len(gaps) == 2


def test_a_tag_newer_than_its_source_is_marked_after_itself() -> None:
    assert GapMarks().open([(1, T + NS)], T) == [(1, T + NS + MARK_AFTER_NS)]


def test_an_old_first_value_counts_from_when_it_was_confirmed() -> None:
    gaps = GapMarks()
    gaps.open([(1, T)], T)
    assert gaps.close(1, T - 100 * NS, T + 30 * NS, first=True) == T + 30 * NS
    assert 1 not in gaps
    assert gaps.close(1, T - 100 * NS, T + 31 * NS, first=True) == T - 100 * NS


def test_a_new_first_value_keeps_its_time() -> None:
    gaps = GapMarks()
    gaps.open([(1, T)], T)
    assert gaps.close(1, T + 20 * NS, T + 30 * NS, first=True) == T + 20 * NS


def test_a_clock_that_went_back_is_not_hidden() -> None:
    gaps = GapMarks()
    gaps.open([(1, T)], T)
    assert gaps.close(1, T - 100 * NS, T - 90 * NS, first=True) == T - 100 * NS


@given(st.integers(-(10**12), 10**12), st.integers(-(10**12), 10**12))
def test_a_first_value_never_lands_in_the_gap_unless_the_clock_went_back(time: int, now: int) -> None:
    gaps = GapMarks()
    [(_, mark)] = gaps.open([(1, T)], T)
    kept = gaps.close(1, T + time, T + max(now, time), first=True)
    assert kept > mark or T + max(now, time) <= mark - 2 * NS
