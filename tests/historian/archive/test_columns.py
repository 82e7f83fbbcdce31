"""How repeated samples merge: the last write wins, what it changed is on record."""

from __future__ import annotations

import numpy as np
from hypothesis import given

from historian.archive.audit import Audit
from historian.archive.columns import REPEATED, Columns, FrameTable, merge
from tests.historian.archive.lines import START, Numbered, any_frames, frame, slow


def _tables(frames: Numbered) -> tuple[Columns, FrameTable]:
    return Columns.of_frames(frames), FrameTable.of((n, f.arrival_ns, f.clock_epoch) for n, f in frames)


@given(any_frames())
def test_every_sample_is_kept_or_on_record_or_said_twice(frames: Numbered) -> None:
    samples, table = _tables(frames)
    merged = merge(samples, table)
    kept = list(
        zip(merged.kept.tag.tolist(), merged.kept.time_ns.tolist(), merged.kept.seq.tolist(), strict=True)
    )
    assert kept == sorted(kept)
    assert kept == [(tag, t, s) for tag, rows in sorted(slow(frames).items()) for t, s, _, _ in rows]
    survivors = {(tag, t, table.epoch[table.places(np.array([s]))[0]]): s for tag, t, s in kept}
    replaced = merged.replaced
    for tag, time_ns, seq, by in zip(
        replaced.tag.tolist(),
        replaced.time_ns.tolist(),
        replaced.seq.tolist(),
        merged.replaced_by.tolist(),
        strict=True,
    ):
        assert seq <= by <= survivors[tag, time_ns, table.epoch[seq - 1]]
    assert len(merged.kept) + len(replaced) <= len(samples)


@given(any_frames())
def test_merging_what_was_merged_changes_nothing(frames: Numbered) -> None:
    samples, table = _tables(frames)
    once = merge(samples, table).kept
    again = merge(once, table)
    for name in ("tag", "time_ns", "seq", "value", "quality"):
        np.testing.assert_array_equal(getattr(again.kept, name), getattr(once, name))
    assert len(again.replaced) == 0


def test_of_two_rows_of_one_frame_the_later_one_counts() -> None:
    samples, table = _tables([(1, frame([(1, START, 1.0, 0), (1, START, 2.0, 0)], arrival_ns=START))])
    merged = merge(samples, table)
    assert (merged.kept.value.tolist(), merged.replaced.value.tolist()) == ([2.0], [1.0])


def test_a_quality_that_changes_is_a_modification_too() -> None:
    first = (1, frame([(1, START, 1.0, 0)], arrival_ns=START))
    second = (2, frame([(1, START, 1.0, 0x4090_0000)], arrival_ns=START + 1))
    merged = merge(*_tables([first, second]))
    assert (merged.replaced.quality.tolist(), merged.replaced_by.tolist()) == ([0], [2])


def test_frame_tables_unite_and_narrow() -> None:
    a, b = FrameTable.of([(1, 10, 0), (3, 30, 1)]), FrameTable.of([(2, 20, 0), (3, 30, 1)])
    both = FrameTable.union([a, b])
    assert (both.seq.tolist(), both.arrival_ns.tolist(), both.epoch.tolist()) == (
        [1, 2, 3],
        [10, 20, 30],
        [0, 0, 1],
    )
    assert both.only(np.array([3])).arrival_ns.tolist() == [30]
    assert len(FrameTable.union([])) == 0


def test_what_one_frame_says_of_one_time_stays_in_its_order() -> None:
    rows = [(1, START, value, 0) for value in (1.0, 1.0, 2.0)]
    after = (2, frame([(1, START, 3.0, 0)], arrival_ns=START + 1))
    merged = merge(*_tables([(1, frame(rows, arrival_ns=START)), after]))
    audit = Audit.of(merged)
    assert audit.rows.value.tolist() == [1.0, 1.0, 2.0]
    assert audit.replaced_by.tolist() == [REPEATED, 1, 2]
