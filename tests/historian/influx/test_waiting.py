"""Frames that wait on this host's disk."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import NS, Frame, StoredDataDamaged
from historian.influx.waiting import Waiting
from tests.historian.conformance import TAGS, scan, seconds
from tests.historian.influx.line import Line, numbers


def waiting_in(folder: Path) -> Waiting:
    return Waiting.open(folder / "waiting.db", "pilot")


@settings(max_examples=20, deadline=None)
@given(st.lists(st.lists(st.integers(-5, 5), min_size=1, max_size=4), min_size=1, max_size=6))
def test_numbers_follow_each_other_and_keys_rise_whatever_the_clock_does(
    tmp_path_factory: pytest.TempPathFactory, lots: list[list[int]]
) -> None:
    waiting = waiting_in(tmp_path_factory.mktemp("waiting"))
    arrivals = [a for lot in lots for a in lot]
    for lot in lots:
        waiting.append([scan(0, arrival_s=a) for a in lot])
    found = waiting.after(0)
    assert [one.number for one in found] == list(range(1, len(arrivals) + 1))
    assert [one.frame.arrival_ns for one in found] == seconds(*arrivals)
    keys = [one.key_ns for one in found]
    assert keys[0] == seconds(arrivals[0])[0]
    assert all(b > a for a, b in itertools.pairwise(keys))
    assert all(key >= one.frame.arrival_ns for key, one in zip(keys, found, strict=True))
    assert waiting.last_number() == len(arrivals)
    waiting.close()


def test_numbers_go_on_after_everything_was_delivered(tmp_path: Path) -> None:
    waiting = waiting_in(tmp_path)
    waiting.append([scan(0), scan(1)])
    waiting.delivered(2, b"")
    waiting.close()
    waiting = waiting_in(tmp_path)
    assert waiting.first(100) == []
    assert waiting.append([scan(2)]) == 3
    assert waiting.length() == (1, 2, seconds(2)[0])
    waiting.close()


def test_a_lot_ends_before_it_grows_too_large_but_has_at_least_one(tmp_path: Path) -> None:
    waiting = waiting_in(tmp_path)
    large = Frame.of(np.ones(50), np.arange(50), np.ones(50), np.zeros(50), arrival_ns=9 * NS)
    waiting.append([large, scan(1), scan(2), scan(3)])
    assert [one.number for one in waiting.first(10)] == [1]
    waiting.delivered(1, b"")
    assert [one.number for one in waiting.first(5)] == [2, 3]
    assert [one.number for one in waiting.first(6)] == [2, 3, 4]
    waiting.close()


def test_the_last_frames_that_were_delivered_stay(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("historian.influx.waiting._KEPT_FRAMES", 3)
    waiting = waiting_in(tmp_path)
    waiting.append([scan(second) for second in range(10)])
    waiting.delivered(6, b"newest")
    assert [one.number for one in waiting.after(0)] == [4, 5, 6, 7, 8, 9, 10]
    assert [one.number for one in waiting.first(100)] == [7, 8, 9, 10]
    assert waiting.length() == (4, 8, seconds(6)[0])
    assert (waiting.delivered_number(), waiting.newest()) == (6, b"newest")
    monkeypatch.setattr("historian.influx.waiting._KEPT_SAMPLES", 4)
    waiting.delivered(7, b"newer")
    assert [one.number for one in waiting.after(0)] == [6, 7, 8, 9, 10]
    waiting.close()


def test_a_delivered_frame_that_is_damaged_here_is_a_gap(tmp_path: Path) -> None:
    waiting = waiting_in(tmp_path)
    waiting.append([scan(second) for second in range(5)])
    waiting.delivered(3, b"")
    spoil(waiting, 2)
    assert [one.number for one in waiting.after(0)] == [1]
    assert waiting.after(1) == []
    assert [one.number for one in waiting.after(2)] == [3, 4, 5]
    assert [one.number for one in waiting.readable_after(0)] == [1, 3, 4, 5]
    assert [one.number for one in waiting.first(100)] == [4, 5]
    waiting.close()


def spoil(waiting: Waiting, number: int) -> None:
    body = bytearray(waiting._db.execute("SELECT body FROM waiting WHERE number=?", (number,)).fetchone()[0])
    body[30] ^= 0xFF
    waiting._db.execute("UPDATE waiting SET body=? WHERE number=?", (bytes(body), number))


def test_a_damaged_frame_does_not_hold_up_those_before_it(tmp_path: Path) -> None:
    waiting = waiting_in(tmp_path)
    waiting.append([scan(0), scan(1), scan(2)])
    spoil(waiting, 2)
    assert [one.number for one in waiting.first(100)] == [1]
    waiting.delivered(1, b"")
    with pytest.raises(StoredDataDamaged, match="frame 2"):
        waiting.first(100)
    waiting.set_first_aside("damaged")
    assert waiting.refused() == [(2, "damaged")]
    assert [one.number for one in waiting.first(100)] == [3]
    waiting.close()


@pytest.mark.influx
def test_what_is_damaged_here_is_read_from_the_server(line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    store.append(scan(0), scan(1), scan(2))
    assert store.flush(20.0)
    assert store._waiting is not None
    spoil(store._waiting, 2)
    assert numbers(store) == [1, 2, 3]
    line.proxy.stop()
    assert [n for n, _ in store.frames(2)] == [3]
    line.proxy.start()


@pytest.mark.influx
def test_a_damaged_frame_does_not_hold_up_delivery(line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    line.proxy.stop()
    store.append(scan(0), scan(1), scan(2))
    assert store._waiting is not None
    spoil(store._waiting, 2)
    line.proxy.start()
    assert store.flush(20.0)
    assert store.delivery().refused == 1
    assert numbers(line.reader()) == [1, 3]
    assert numbers(store) == [1, 3]
