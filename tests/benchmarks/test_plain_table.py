"""The plain way answers right: a baseline that is wrong is no baseline."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from benchmarks.plain_table import PlainTable
from historian.frame import NS, Frame

BAD = 0x80000000
MINUTE_NS = 60 * NS


@pytest.fixture
def table(tmp_path: Path) -> Iterator[PlainTable]:
    """Three tags, a sample every ten seconds for four minutes; one bad minute of the second."""
    with closing(PlainTable(tmp_path / "plain.db")) as table:
        for tag in (3, 7, 9):
            time_ns = np.arange(24) * 10 * NS
            off = (tag == 7) & (time_ns // MINUTE_NS == 2)
            value = np.where(off, np.nan, tag * 100.0 + np.arange(24))
            table.insert(Frame.of(np.full(24, tag), time_ns, value, off * BAD, arrival_ns=240 * NS))
        yield table


def test_every_commit_is_synced(table: PlainTable) -> None:
    assert table._db.execute("PRAGMA synchronous").fetchone() == (2,)
    assert table._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_it_counts_in_a_window(table: PlainTable) -> None:
    assert table.count() == 72
    assert table.count(0, MINUTE_NS) == 18


def test_raw_samples_come_with_nan_where_there_is_no_value(table: PlainTable) -> None:
    found = table.raw([7, 8], MINUTE_NS, 3 * MINUTE_NS)
    assert found[7].time_ns.tolist() == list(range(60 * NS, 180 * NS, 10 * NS))
    np.testing.assert_array_equal(found[7].value, [*range(706, 712), *[np.nan] * 6])
    assert found[7].quality.tolist() == [0] * 6 + [BAD] * 6
    assert len(found[8]) == 0


def test_the_newest_of_each_tag(table: PlainTable) -> None:
    assert table.newest() == [(n, 230 * NS, n * 100.0 + 23, 0) for n in (3, 7, 9)]


def test_extremes_of_buckets_leave_the_bad_out(table: PlainTable) -> None:
    found = table.minimum_and_maximum(7, 0, 4 * MINUTE_NS, 4)
    assert found == [(0, 700.0, 705.0), (1, 706.0, 711.0), (3, 718.0, 723.0)]


def test_minutes_leave_the_bad_out(table: PlainTable) -> None:
    found = table.minutes(0, 4 * MINUTE_NS)
    assert len(found) == 11
    assert found[0] == (3, 0, 302.5, 300.0, 305.0)
    assert (7, 2) not in {row[:2] for row in found}
