"""Which tags stand in one row: those that were scanned together, also when a scan missed one."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from historian.archive.columns import Columns
from historian.archive.groups import agreed, groups_of


def _columns(stamps: dict[int, list[int]]) -> Columns:
    rows = [(tag, t) for tag in sorted(stamps) for t in sorted(stamps[tag])]
    return Columns.of(
        [r[0] for r in rows],
        [r[1] for r in rows],
        [r[1] // 10 for r in rows],
        [0.0] * len(rows),
        [0] * len(rows),
    )


def test_tags_with_the_same_stamps_are_a_group_and_the_rest_stands_alone() -> None:
    even, odd = list(range(0, 200, 2)), list(range(1, 200, 2))
    assert groups_of(_columns({1: even, 2: odd, 3: even, 4: odd, 5: [7, 50], 6: [8]})) == ((1, 3), (2, 4))


def test_a_missed_scan_does_not_tear_a_group_apart() -> None:
    scans = list(range(0, 1000, 10))
    assert groups_of(_columns({1: scans, 2: scans, 3: scans[:40] + scans[45:]})) == ((1, 2, 3),)


def test_half_the_rate_is_another_group() -> None:
    fast = list(range(0, 1000, 10))
    assert groups_of(_columns({1: fast, 2: fast, 3: fast[::2], 4: fast[::2]})) == ((1, 2), (3, 4))


def test_no_samples_no_groups() -> None:
    assert groups_of(Columns.joined([])) == ()


@given(st.dictionaries(st.integers(1, 9), st.lists(st.integers(0, 60), min_size=1, unique=True), min_size=1))
def test_groups_share_no_tag_and_hold_two_or_more(stamps: dict[int, list[int]]) -> None:
    groups = groups_of(_columns(stamps))
    members = [tag for group in groups for tag in group]
    assert len(members) == len(set(members)) and set(members) <= set(stamps)
    assert all(len(group) > 1 and list(group) == sorted(group) for group in groups)
    by_stamps: dict[tuple[int, ...], set[int]] = {}
    for tag, times in stamps.items():
        by_stamps.setdefault(tuple(sorted(times)), set()).add(tag)
    for together in by_stamps.values():
        assert len(together) < 2 or any(together <= set(group) for group in groups)


def test_a_day_goes_by_what_most_of_its_hours_say() -> None:
    usual = {1: "a", 2: "a", 3: "b", 4: "b"}
    odd = {1: "a", 2: "b", 3: "b", 4: "b"}
    assert agreed([usual] * 9 + [odd]) == ((1, 2), (3, 4))
    assert agreed([{1: "a", 2: "a"}, {1: "b", 2: "b", 3: "b"}]) == ((1, 2, 3),)
    assert agreed([{1: "a", 2: "a"}] * 9 + [{1: "b", 2: "b", 3: "b"}]) == ((1, 2),)
    assert agreed([]) == ()


def test_numbers_of_rows_hold_beyond_32_bits_of_time() -> None:
    at = 2**60
    stamps = [at + k for k in range(0, 500, 10)]
    assert groups_of(_columns({1: stamps, 2: stamps})) == ((1, 2),)
    assert _columns({1: stamps}).time_ns.dtype == np.int64
