"""Frames wait in order; what is too much is dropped, counted and marked."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.keeping.backlog import Backlog
from historian import Frame
from historian.quality import NO_DATA
from tests.collector.conftest import rows


def frame(k: int, size: int = 1, epoch: int = 0) -> Frame:
    times = [k * 1000 + n for n in range(size)]
    return Frame.of([1] * size, times, [float(k)] * size, [0] * size, arrival_ns=k, clock_epoch=epoch)


def values(frames: list[Frame]) -> list[float]:
    return [float(f.value[0]) for f in frames]


def test_what_was_put_back_comes_first_again() -> None:
    backlog = Backlog(100)
    backlog.add([frame(1), frame(2)], 2)
    assert values(backlog.take()) == [1, 2]
    backlog.add([frame(3)], 3)
    backlog.put_back()
    assert values(backlog.take()) == [1, 2, 3]
    assert not backlog.done()
    assert backlog.take() == [] and backlog.samples == 0 and backlog.cut_ns == 3


def test_the_oldest_are_dropped_counted_and_marked() -> None:
    backlog = Backlog(30)
    backlog.add([frame(k, 10) for k in range(1, 6)], 5)
    assert backlog.samples == 30
    marks, *kept = backlog.take()
    assert values(kept) == [3, 4, 5]
    assert [(t, n, q) for t, n, _, q in rows(marks)] == [(1, 1000, NO_DATA)]
    assert math.isnan(marks.value[0])
    assert marks.arrival_ns == 2 <= kept[0].arrival_ns
    dropped = backlog.done()
    assert (dropped.samples, dropped.first_ns, dropped.last_ns) == (20, 1000, 2009)
    assert not backlog.done()


def test_a_mark_that_could_not_be_kept_stays_where_the_gap_begins() -> None:
    backlog = Backlog(20)
    backlog.add([frame(k, 10) for k in (1, 2, 3)], 3)
    backlog.take()
    backlog.put_back()
    backlog.add([frame(4, 10, epoch=1), frame(5, 10, epoch=1), frame(6, 10, epoch=1)], 6)
    old, new, *kept = backlog.take()
    assert (old.clock_epoch, old.time_ns.tolist()) == (0, [1000])
    assert (new.clock_epoch, new.time_ns.tolist()) == (1, [4000])
    assert values(kept) == [5, 6]
    assert backlog.done().samples == 40


def test_one_transaction_is_not_endless() -> None:
    backlog = Backlog(10**6)
    backlog.add([frame(k, 150_000) for k in range(1, 5)], 4)
    assert [values(backlog.take()), backlog.done().samples] == [[1, 2], 0]
    assert values(backlog.take()) == [3, 4]


@given(st.lists(st.sampled_from(["add", "take", "fail"]), max_size=40), st.integers(3, 50))
def test_order_is_kept_and_nothing_vanishes_unsaid(steps: list[str], limit: int) -> None:
    backlog = Backlog(limit)
    stored: list[float] = []
    sent = dropped = 0
    for step in [*steps, "take"]:
        if step == "add":
            sent += 1
            backlog.add([frame(sent)], sent)
            continue
        taken = backlog.take()
        if step == "fail":
            backlog.put_back()
            continue
        stored += [v for v in values(taken) if not math.isnan(v)]
        dropped += backlog.done().samples
    assert stored == sorted(set(stored))
    assert len(stored) + dropped == sent


def test_frames_in_the_making_are_not_dropped() -> None:
    backlog = Backlog(2)
    backlog.add([frame(1), frame(2)], 2)
    assert values(backlog.take()) == [1, 2]
    backlog.add([frame(3), frame(4)], 4)
    backlog.done()
    assert 4 in values(backlog.take())


def test_a_limit_of_nothing_still_lets_the_newest_through() -> None:
    backlog = Backlog(0)
    backlog.add([frame(1), frame(2)], 2)
    assert values(backlog.take())[-1] == pytest.approx(2)


def test_a_receipt_is_due_when_all_of_its_cut_is_kept() -> None:
    backlog, told = Backlog(10**6), list[str]()
    backlog.add([frame(1, 150_000), frame(2, 150_000)], 2, [lambda: told.append("a")])
    backlog.add([frame(3)], 3, [lambda: told.append("b")])
    backlog.add([], 4, [lambda: told.append("c")])
    assert backlog.due() == []
    backlog.take()
    backlog.put_back()
    assert backlog.due() == []
    while backlog.take():
        backlog.done()
        for receipt in backlog.due():
            receipt()
    assert told == ["a", "b", "c"]


def test_what_was_dropped_is_never_receipted() -> None:
    backlog, told = Backlog(20), list[str]()
    backlog.add([frame(1, 10)], 1, [lambda: told.append("dropped")])
    backlog.add([frame(2, 10)], 2)
    backlog.add([frame(3, 10)], 3, [lambda: told.append("kept")])
    while backlog.take():
        backlog.done()
        for receipt in backlog.due():
            receipt()
    assert told == ["kept"]


def test_dropping_leaves_the_receipts_of_what_is_in_the_making() -> None:
    backlog, told = Backlog(20), list[str]()
    backlog.add([frame(1, 10), frame(2, 10)], 1, [lambda: told.append("taken")])
    backlog.take()
    backlog.add([frame(3, 10)], 2, [lambda: told.append("dropped")])
    backlog.add([frame(4, 10)], 3, [lambda: told.append("newest")])
    backlog.done()
    backlog.take()
    backlog.done()
    for receipt in backlog.due():
        receipt()
    assert told == ["taken", "newest"]
