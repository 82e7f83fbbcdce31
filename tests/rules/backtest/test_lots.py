"""Lots: every sample once, epochs apart, and the engine takes them all."""

from __future__ import annotations

import numpy as np

from historian.frame import NS
from rules.backtest.lots import by_source_time, lots
from tests.rules.toys import T0, frame_at

assert T0 % (10 * NS) == 0


def test_frames_of_ten_seconds_of_arrival_become_one() -> None:
    frames = [(n, frame_at(n - 0.5, (1, n - 1.0, float(n)))) for n in range(1, 26)]
    made = list(lots(frames, 10))
    assert [(number, len(frame)) for number, frame in made] == [(10, 10), (20, 10), (25, 5)]
    assert [f.arrival_ns for _, f in made] == [T0 + round(s * NS) for s in (9.5, 19.5, 24.5)]
    assert np.concatenate([f.value for _, f in made]).tolist() == [float(n) for n in range(1, 26)]


def test_another_clock_epoch_stays_apart_and_numbers_rise() -> None:
    frames = [
        (1, frame_at(1, (1, 1.0, 1.0))),
        (2, frame_at(2, (2, 9.0, 2.0), epoch=1)),
        (3, frame_at(3, (1, 3.0, 3.0))),
    ]
    made = list(lots(frames, 10))
    assert [(n, f.clock_epoch, f.value.tolist()) for n, f in made] == [(2, 1, [2.0]), (3, 0, [1.0, 3.0])]
    assert {f.arrival_ns for _, f in made} == {T0 + 3 * NS}


def test_no_frames_make_no_lots() -> None:
    assert list(lots([], 10)) == []


def test_an_archive_without_arrivals_is_cut_by_source_time() -> None:
    whole = frame_at(100, (2, 3.0, 1.0), (1, 12.0, 2.0), (1, 2.0, 3.0), (1, 25.0, 4.0))
    made = list(by_source_time(whole, 10))
    assert [(n, f.tag.tolist(), f.value.tolist()) for n, f in made] == [
        (1, [1, 2], [3.0, 1.0]),
        (2, [1], [2.0]),
        (3, [1], [4.0]),
    ]
    assert [f.arrival_ns for _, f in made] == [T0 + s * NS - 1 for s in (10, 20, 30)]
