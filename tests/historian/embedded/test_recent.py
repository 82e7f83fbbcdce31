"""Rows that the archive holds are let go of in small steps."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from historian.embedded.recent import Recent
from historian.frame import NS, Frame

SAMPLES, FRAMES = 40_000, 40
T0_NS = 1_900_000_000 * NS


def frame(number: int) -> Frame:
    """A large frame of values that do not repeat."""
    tag = np.sort(np.random.default_rng(number).integers(1, 200, SAMPLES))
    time_ns = T0_NS + number * 60 * NS + np.arange(SAMPLES)
    value = np.random.default_rng(number).random(SAMPLES)
    return Frame.of(tag, time_ns, value, np.zeros(SAMPLES), arrival_ns=T0_NS + number * 60 * NS)


@pytest.fixture
def recent(tmp_path: Path) -> Iterator[Recent]:
    with closing(Recent.open(tmp_path / "recent.db", write=True)) as opened:
        for number in range(1, FRAMES + 1):
            opened.append([frame(number)])
        yield opened


def numbers(recent: Recent) -> list[int]:
    return [row.seq for row in recent.rows_after(0)]


def test_letting_go_of_much_keeps_the_write_ahead_log_small(recent: Recent):
    before = recent.path.stat().st_size
    assert before > 20_000_000
    recent.let_go(FRAMES - 1, b"newest")
    log = recent.path.with_name("recent.db-wal").stat().st_size
    assert numbers(recent) == [FRAMES] and recent.newest() == (FRAMES - 1, b"newest")
    assert log < before / 3


def test_after_a_stop_in_between_the_next_step_takes_the_rest(
    recent: Recent, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("historian.embedded.recent._AT_ONCE", 0)
    recent.let_go(10, b"then")
    assert numbers(recent) == list(range(1, FRAMES + 1)) and recent.sealed_seq() == 10
    monkeypatch.undo()
    recent.let_go(20, b"now")
    assert numbers(recent) == list(range(21, FRAMES + 1)) and recent.newest() == (20, b"now")
