"""A piece of history in a gap: samples, marks, and values that held."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from collector.gaps.marks import Gap
from collector.gaps.refill import close, fill
from historian.frame import Series
from historian.quality import BAD, GOOD, HELD, NO_DATA, SENSOR_FAILURE, UNCERTAIN

MS = 1_000_000
GAP = Gap(tag=1, since_ns=1000 * MS, value=5.0, quality=GOOD, mark_ns=1001 * MS, until_ns=2000 * MS)


def series(*times_ms: float, quality: int = GOOD) -> Series:
    return Series.of([int(t * MS) for t in times_ms], list(times_ms), [quality] * len(times_ms))


def told(kept: Series) -> list[tuple[float, float | None, int]]:
    """Time in milliseconds, value (None for NaN), quality."""
    return [
        (int(t) / MS, None if math.isnan(v) else float(v), int(q))
        for t, v, q in zip(kept.time_ns, kept.value, kept.quality, strict=True)
    ]


def test_a_piece_moves_the_mark_and_the_last_one_ends_it() -> None:
    kept, left = fill(GAP, series(1100, 1200))
    assert left is not None
    assert told(kept) == [
        (1001, 5.0, HELD),
        (1100, 1100.0, GOOD),
        (1200, 1200.0, GOOD),
        (1201, None, NO_DATA),
    ]
    assert left == replace(GAP, since_ns=1200 * MS, value=1200.0, mark_ns=1201 * MS)
    assert told(close(left)) == [(1201, 1200.0, HELD)]


def test_what_is_known_already_or_sent_live_is_not_kept_again() -> None:
    kept, left = fill(GAP, series(900, 1000, 2000, 2100))
    assert len(kept) == 0 and left == GAP
    # The last one told of the same time counts, and the order of the answer does not.
    doubled = Series.of([1500 * MS, 1200 * MS, 1500 * MS], [1.0, 2.0, 3.0], GOOD)
    assert [(t, v) for t, v, q in told(fill(GAP, doubled)[0]) if q == GOOD] == [(1200, 2.0), (1500, 3.0)]


def test_a_mark_that_a_sample_takes_the_place_of_is_gone() -> None:
    kept, left = fill(GAP, series(1001))
    assert left is not None and left.mark_ns == 1002 * MS
    assert told(kept) == [(1001, 1001.0, GOOD), (1002, None, NO_DATA)]


def test_samples_before_the_mark_leave_it_where_it_is() -> None:
    kept, left = fill(GAP, series(1000.5))
    assert left is not None and left.mark_ns == GAP.mark_ns and left.value == 1000.5
    assert told(kept) == [(1000.5, 1000.5, GOOD)]


def test_no_mark_falls_on_what_was_sent_live() -> None:
    kept, left = fill(GAP, series(1999.5))
    assert left is not None and GAP.mark_ns < left.mark_ns < GAP.until_ns
    assert told(kept)[-1][2] == NO_DATA
    kept, left = fill(GAP, Series.of([GAP.until_ns - 1], [7.0], GOOD))
    assert left is None
    assert [q for *_, q in told(kept)] == [HELD, GOOD]


@pytest.mark.parametrize(
    ("quality", "held"),
    [(UNCERTAIN, UNCERTAIN | HELD), (SENSOR_FAILURE, SENSOR_FAILURE), (0x0000_0480, HELD)],
)
def test_what_held_bears_the_quality_of_what_it_was(quality: int, held: int) -> None:
    ((_, value, said),) = told(close(replace(GAP, quality=quality)))
    assert said == held
    assert (value is None) == bool(quality & BAD)


def test_what_is_lost_stays_marked() -> None:
    lost = replace(GAP, lasting=True)
    assert len(close(lost)) == 0
    kept, left = fill(lost, series(1100))
    assert left is not None and not left.lasting
    assert told(kept) == [(1100, 1100.0, GOOD), (1101, None, NO_DATA)]
    # The loss lies before the first sample found; a mark behind it would say nothing of it.
    kept, _ = fill(replace(lost, mark_ns=1200 * MS), series(1100, 1300))
    assert [t for t, _, q in told(kept) if q == NO_DATA] == [1050, 1301]


def test_a_gap_whose_beginning_is_not_known_keeps_its_mark() -> None:
    unknown = replace(GAP, value=math.nan, quality=NO_DATA)
    assert len(close(unknown)) == 0
    assert (1001, None, NO_DATA) not in told(fill(unknown, series(1100))[0])
    assert HELD not in [q for *_, q in told(fill(unknown, series(1100))[0])]
