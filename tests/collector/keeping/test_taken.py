"""What is handed in between two cuts comes out once, in its order; what is too much is counted."""

from __future__ import annotations

import math
from threading import Thread

from collector.columns import Columns
from collector.entry import LOST
from collector.keeping.taken import Taken
from historian import NS, Frame
from historian.quality import GOOD, NO_DATA


def row(tag: int, time_ns: int) -> tuple[int, int, float, int, int]:
    return (tag, time_ns, 1.0, GOOD, 0)


def test_each_source_gets_its_own_in_their_order_and_only_once() -> None:
    taken = Taken(100)
    taken.add("a", row(1, 5), 1)
    taken.add("b", row(2, 6), 1)
    taken.add("a", row(1, 7), 1)
    batch = taken.cut(["a", "b", "c"], NS)
    assert batch.entries == {"a": [row(1, 5), row(1, 7)], "b": [row(2, 6)], "c": []}
    assert taken.cut(["a", "b"], NS).entries == {"a": [], "b": []}


def test_columns_that_follow_each_other_become_one() -> None:
    taken = Taken(100)
    for n in range(3):
        taken.add("a", Columns.of([1, 2], [n, n], [0.0, 0.0], [GOOD, GOOD]), 2)
    (one,) = taken.cut(["a"], NS).entries["a"]
    assert isinstance(one, Columns) and one.time_ns.tolist() == [0, 0, 1, 1, 2, 2]


def test_receipts_come_with_what_they_are_for() -> None:
    taken, due = Taken(100), []
    taken.add("a", row(1, 5), 1, lambda: due.append("a"))
    taken.add_lot("a", Frame.of([1], [1], [1.0], [GOOD], arrival_ns=0), lambda: due.append("lot"))
    batch = taken.cut(["a"], NS)
    assert [len(lot) for _, lot in batch.lots] == [1]
    for receipt in (*batch.receipts["a"], *batch.lot_receipts):
        receipt()
    assert due == ["a", "lot"]
    again = taken.cut(["a"], NS)
    assert (again.receipts, again.lots, again.lot_receipts) == ({}, [], [])


def test_what_is_dropped_is_marked_told_and_not_acknowledged() -> None:
    taken = Taken(2)
    for n in range(5):
        taken.add("a", row(1, 10 * n), 1, lambda: None)
    batch = taken.cut(["a", "b"], NS)
    mark, *kept = batch.entries["a"]
    assert not isinstance(mark, Columns) and mark[:2] == (1, 0) and mark[3] == NO_DATA
    assert kept == [row(1, 30), row(1, 40)] and len(batch.receipts["a"]) == 2
    (event,) = batch.events
    assert event.data["samples"] == 3 and "last of source a" in event.text
    assert taken.cut(["a"], NS).events == []


def test_a_loss_that_was_dropped_is_still_a_loss() -> None:
    taken = Taken(1)
    taken.add("a", (LOST, 0, math.nan, 0, 0), 0)
    taken.add("a", row(1, 10), 1)
    taken.add("a", row(1, 20), 1)
    entries = taken.cut(["a"], NS).entries["a"]
    assert [e[0] for e in entries if not isinstance(e, Columns)] == [1, LOST, 1]


def test_nothing_is_lost_or_doubled_between_threads() -> None:
    taken, found = Taken(10**6), []

    def hand_in(name: str) -> None:
        for n in range(3000):
            taken.add(name, row(1, n), 1)

    threads = [Thread(target=hand_in, args=(name,)) for name in ("a", "b")]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        found.append(taken.cut(["a", "b"], NS))
    found.append(taken.cut(["a", "b"], NS))
    for name in ("a", "b"):
        assert [e[1] for b in found for e in b.entries[name]] == list(range(3000))  # type: ignore[index]
