"""What is in order, late, a duplicate, or of another clock."""

from __future__ import annotations

import json

from historian.frame import NS
from rules.block import Block
from rules.intake import Intake
from tests.rules.toys import PATHS, T0, frame_at, tags_of

P, Q = PATHS[0], PATHS[1]


def told(block: Block, path: str = P) -> list[tuple[float, float]]:
    series = block.series(path)
    return [((t - T0) / NS, v) for t, v in zip(series.time_ns.tolist(), series.value.tolist(), strict=True)]


def test_frames_of_one_second_are_sorted_into_one_block() -> None:
    split = Intake(tags_of()).split(
        [frame_at(5.1, (1, 5.0, 1.0)), frame_at(5.6, (1, 4.5, 2.0), (2, 5.5, 3.0))]
    )
    assert told(split.in_order) == [(4.5, 2.0), (5.0, 1.0)]
    assert told(split.in_order, Q) == [(5.5, 3.0)]
    assert split.in_order.arrival_ns == T0 + 5_600_000_000
    assert split.late.paths() == []


def test_equal_to_the_newest_is_dropped_and_older_is_late() -> None:
    intake = Intake(tags_of())
    intake.split([frame_at(5.0, (1, 5.0, 1.0), (2, 9.0, 1.0))])
    split = intake.split([frame_at(6.0, (1, 4.0, 2.0), (1, 5.0, 3.0), (1, 5.5, 4.0), (2, 8.0, 5.0))])
    assert told(split.in_order) == [(5.5, 4.0)]
    assert told(split.late) == [(4.0, 2.0)]
    assert told(split.late, Q) == [(8.0, 5.0)]


def test_the_same_time_twice_within_a_second_counts_as_it_arrived_last() -> None:
    split = Intake(tags_of()).split([frame_at(5.1, (1, 5.0, 1.0)), frame_at(5.6, (1, 5.0, 2.0))])
    assert told(split.in_order) == [(5.0, 2.0)]


def test_samples_of_unknown_tags_are_passed_over() -> None:
    split = Intake(tags_of()).split(
        [frame_at(5.1, (99, 5.0, 1.0), (0, 5.0, 1.0), (-1, 5.0, 1.0), (1, 5.0, 2.0))]
    )
    assert split.in_order.paths() == [P]
    assert Intake({}).split([frame_at(5.1, (1, 5.0, 1.0))]).in_order.paths() == []


def test_a_clock_set_far_back_begins_anew_and_one_set_back_a_little_is_late() -> None:
    intake = Intake(tags_of())
    intake.split([frame_at(5000.0, (1, 5000.0, 1.0), (2, 5000.0, 1.0))])
    little = intake.split([frame_at(5001.0, (2, 4990.0, 1.0), epoch=1)])
    assert (little.set_back, told(little.late, Q)) == ((), [(4990.0, 1.0)])
    far = intake.split([frame_at(5002.0, (1, 1402.0, 2.0), epoch=1)])
    assert (far.set_back, told(far.in_order)) == ((P,), [(1402.0, 2.0)])
    again = intake.split([frame_at(5003.0, (1, 1403.0, 3.0), epoch=1)])
    assert (again.set_back, told(again.in_order)) == ((), [(1403.0, 3.0)])


def test_samples_of_an_earlier_epoch_are_late_even_when_their_times_are_newer() -> None:
    intake = Intake(tags_of())
    split = intake.split([frame_at(5.1, (1, 900.0, 1.0)), frame_at(5.2, (1, 5.2, 2.0), epoch=1)])
    assert (told(split.in_order), told(split.late)) == ([(5.2, 2.0)], [(900.0, 1.0)])


def test_saved_and_restored_splits_alike() -> None:
    intake = Intake(tags_of())
    intake.split([frame_at(5.0, (1, 5.0, 1.0), epoch=2)])
    other = Intake(tags_of())
    other.restore(json.loads(json.dumps({**intake.save(), "gone.from.the.line": [1, 0]})))
    assert other.save() == intake.save() == {P: [T0 + 5 * NS, 2]}
    assert told(other.split([frame_at(6.0, (1, 5.0, 1.0), (1, 4.0, 1.0), epoch=2)]).late) == [(4.0, 1.0)]
