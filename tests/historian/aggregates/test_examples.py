"""Example: figures worked out by hand, for what the standard's own tables do not show."""

from __future__ import annotations

import math

import pytest

from historian.aggregates import (
    CALCULATED,
    DATA_SUB_NORMAL,
    INTERPOLATED,
    MULTIPLE_VALUES,
    PARTIAL,
    Aggregate,
    AggregateConfig,
    AggregateRow,
    aggregate_series,
)
from historian.errors import WrongInput
from historian.frame import NS, Series
from historian.quality import BAD, GOOD, LAST_USABLE, NO_DATA, SENSOR_FAILURE
from tests.historian.aggregates.series import series_of

SUB_NORMAL = DATA_SUB_NORMAL | CALCULATED

# 10 to 30 in a line, broken at 30 s, 50 from 40 s on, 70 at 60 s.
BROKEN = series_of(
    [
        (0, 10.0, GOOD),
        (10 * NS, 20.0, GOOD),
        (20 * NS, 30.0, GOOD),
        (30 * NS, math.nan, SENSOR_FAILURE),
        (40 * NS, 50.0, GOOD),
        (60 * NS, 70.0, GOOD),
    ]
)


def one(
    kind: str,
    start_s: float,
    end_s: float,
    *,
    series: Series = BROKEN,
    config: AggregateConfig | None = None,
    stepped: bool = False,
    notes_s: tuple[int, ...] = (),
) -> AggregateRow:
    start, end = int(start_s * NS), int(end_s * NS)
    (row,) = aggregate_series(
        series,
        start,
        end,
        end - start,
        Aggregate(kind),
        config=config or AggregateConfig(),
        stepped=stepped,
        annotations_ns=[n * NS for n in notes_s],
    )
    return row


@pytest.mark.parametrize(
    ("kind", "start_s", "end_s", "stepped", "value", "quality"),
    [
        ("TimeAverage", 0, 10, False, 15.0, CALCULATED),
        ("TimeAverage", 0, 10, True, 15.0, CALCULATED),  # sloped whatever the variable is (v1.05)
        ("Total", 0, 10, False, 150.0, CALCULATED),
        ("Total2", 0, 10, False, 150.0, CALCULATED),
        ("Total2", 0, 10, True, 100.0, CALCULATED),
        ("TimeAverage", 20, 40, False, 40.0, SUB_NORMAL),  # 30 to 50 straight across the bad sample
        ("Total", 20, 40, False, 800.0, SUB_NORMAL),
        ("TimeAverage2", 20, 40, False, 30.0, SUB_NORMAL),  # 30 held for 10 s, the rest is bad
        ("Total2", 20, 40, False, 300.0, SUB_NORMAL),
        ("Total2", 20, 40, True, 300.0, SUB_NORMAL),
        ("TimeAverage2", 31, 39, False, math.nan, NO_DATA),
        ("TimeAverage", 70, 80, False, 70.0, SUB_NORMAL),  # held after the end
        ("TimeAverage2", 70, 80, False, math.nan, NO_DATA),
        ("Range", 0, 30, False, 20.0, CALCULATED),
        ("Range", 15, 45, False, 20.0, SUB_NORMAL),
        ("Delta", 0, 30, False, 20.0, CALCULATED),
        ("Delta", 0, 31, False, 20.0, SUB_NORMAL),  # the bad one at 30 s is skipped
        ("Delta", 5, 45, False, 30.0, CALCULATED),  # one in the middle is not
        ("Delta", 25, 35, False, math.nan, NO_DATA),
        ("EndBound", 0, 15, False, 25.0, CALCULATED),
        ("EndBound", 0, 15, True, 20.0, CALCULATED),
        ("EndBound", 0, 25, False, 30.0, SUB_NORMAL),
        ("EndBound", 0, 30, False, math.nan, NO_DATA),
        ("DurationBad", 20, 40, False, 10_000.0, CALCULATED),
        ("PercentBad", 20, 40, False, 50.0, CALCULATED),
        ("DurationInStateNonZero", 20, 40, False, 10_000.0, SUB_NORMAL),
        ("DurationInStateZero", 20, 40, False, 0.0, SUB_NORMAL),
        ("WorstQuality", 15, 45, False, float(SENSOR_FAILURE), CALCULATED),
        ("WorstQuality2", 25, 29, False, float(DATA_SUB_NORMAL), CALCULATED),
        ("WorstQuality", 25, 29, False, math.nan, NO_DATA),
        ("WorstQuality2", 32, 38, False, float(NO_DATA), CALCULATED),
        ("Count", 25, 29, False, 0.0, CALCULATED),
        ("Interpolative", 70, 80, False, 70.0, DATA_SUB_NORMAL | INTERPOLATED),
        ("Interpolative", 70, 80, True, 70.0, DATA_SUB_NORMAL | INTERPOLATED),
        ("Interpolative", 35, 80, True, 30.0, DATA_SUB_NORMAL | INTERPOLATED),
        ("Count", -20, -5, False, math.nan, NO_DATA),
        ("Count", 61, 70, False, math.nan, NO_DATA),
        ("Maximum", 5, 25, False, 30.0, CALCULATED),
        ("Maximum", 20, 25, False, 30.0, GOOD),
        ("Maximum2", 5, 15, False, 25.0, INTERPOLATED),
        ("Maximum2", 5, 15, True, 20.0, CALCULATED),
        ("Minimum2", 5, 15, False, 15.0, INTERPOLATED),
        ("StartBound", 25, 45, False, 30.0, DATA_SUB_NORMAL | INTERPOLATED),
        ("Average", 50, 70, False, 70.0, CALCULATED),  # never Partial
        ("Count", 50, 70, False, 1.0, CALCULATED | PARTIAL),
        ("StandardDeviationSample", 15, 45, False, math.sqrt(200.0), SUB_NORMAL),
    ],
)
def test_by_hand(kind: str, start_s: float, end_s: float, stepped: bool, value: float, quality: int) -> None:
    row = one(kind, start_s, end_s, stepped=stepped)
    assert row.value == pytest.approx(value, rel=1e-12, nan_ok=True)
    assert hex(row.quality) == hex(quality)


@pytest.mark.parametrize(
    ("kind", "start_s", "end_s", "time_ns"),
    [
        ("MinimumActualTime", 5, 25, 10 * NS),
        ("MaximumActualTime", 5, 25, 20 * NS),
        ("Start", 5, 25, 10 * NS),
        ("End", 5, 25, 20 * NS),
        ("End", 5, 31, 30 * NS),
        ("MinimumActualTime2", 5, 25, 5 * NS),
        ("MaximumActualTime2", 5, 15, 15 * NS - 1),  # the time just before the end: 3.1.3
        ("Start", 31, 39, 31 * NS),
        ("MaximumActualTime2", 31, 39, 31 * NS),
    ],
)
def test_whose_time_is_given(kind: str, start_s: float, end_s: float, time_ns: int) -> None:
    assert one(kind, start_s, end_s).time_ns == time_ns


def test_the_oldest_of_several_extremes_is_given_and_marked() -> None:
    series = series_of([(t * NS, v, GOOD) for t, v in ((0, 5.0), (1, 2.0), (2, 9.0), (3, 2.0), (20, 4.0))])
    row = one("MinimumActualTime", 0, 10, series=series)
    assert (row.time_ns, row.value, row.quality) == (NS, 2.0, MULTIPLE_VALUES)
    assert one("Maximum", 0, 10, series=series).quality == CALCULATED


def test_several_worst_samples_are_marked_and_the_first_is_told() -> None:
    rows = [(0, 1.0, GOOD), (NS, math.nan, SENSOR_FAILURE), (2 * NS, math.nan, BAD), (20 * NS, 1.0, GOOD)]
    row = one("WorstQuality", 0, 10, series=series_of(rows))
    assert (row.value, row.quality) == (float(SENSOR_FAILURE), CALCULATED | MULTIPLE_VALUES)


def test_an_uncertain_sample_beyond_the_good_ones_makes_the_extreme_uncertain() -> None:
    rows = [(0, 5.0, GOOD), (NS, 7.0, LAST_USABLE), (20 * NS, 5.0, GOOD)]
    lenient = AggregateConfig(treat_uncertain_as_bad=False)
    maximum = one("Maximum", 0, 10, series=series_of(rows), config=lenient)
    assert (maximum.value, maximum.quality) == (5.0, SUB_NORMAL)
    assert one("Minimum", 0, 10, series=series_of(rows), config=lenient).quality == GOOD
    assert one("Range", 0, 10, series=series_of(rows), config=lenient).quality == SUB_NORMAL
    below = series_of([(0, 5.0, GOOD), (NS, 3.0, LAST_USABLE), (20 * NS, 5.0, GOOD)])
    assert one("Minimum", 0, 10, series=below, config=lenient).quality == SUB_NORMAL
    assert one("Range", 0, 10, series=below, config=lenient).quality == SUB_NORMAL
    assert one("Maximum2", 0, 10, series=series_of(rows), config=lenient).value == 7.0


def test_annotations_are_counted_in_any_order() -> None:
    row = one("AnnotationCount", 0, 30, notes_s=(30, 12, 0, 12, 99))
    assert (row.value, row.quality) == (3.0, CALCULATED)
    assert one("AnnotationCount", 0, 30).value == 0.0


def test_the_first_interval_of_data_is_partial_and_what_is_before_has_none() -> None:
    rows = aggregate_series(BROKEN, -10 * NS, 20 * NS, 4 * NS, Aggregate.TIME_AVERAGE_2)
    assert [r.quality for r in rows[:3]] == [NO_DATA, NO_DATA, SUB_NORMAL | PARTIAL]
    assert rows[2].value == pytest.approx(11.0)  # -2 s to 2 s: only the 2 s from 0 on


def test_the_last_interval_takes_what_is_left() -> None:
    rows = aggregate_series(BROKEN, 0, 25 * NS, 10 * NS, Aggregate.PERCENT_GOOD)
    assert [(r.time_ns, r.value) for r in rows] == [(0, 100.0), (10 * NS, 100.0), (20 * NS, 100.0)]
    assert len(aggregate_series(BROKEN, 0, 25 * NS, 100 * NS, Aggregate.COUNT)) == 1


def test_a_good_sample_without_a_number_counts_as_bad() -> None:
    series = Series.of([0, 1, 2, 10], [1.0, math.nan, 3.0, 3.0], GOOD)
    row = aggregate_series(series, 0, 10, 10, Aggregate.AVERAGE)[0]
    assert (row.value, row.quality) == (2.0, SUB_NORMAL)


def test_the_mean_of_equal_values_is_that_value() -> None:
    """0.1 three times sums to 0.30000000000000004."""
    row = aggregate_series(Series.of([0, 1, 2], [0.1] * 3, GOOD), 0, 3, 3, Aggregate.AVERAGE)[0]
    assert row.value == 0.1


def test_neighbouring_nanoseconds_are_told_apart_today() -> None:
    """A float64 of today's stamp counts in steps of 256 ns."""
    now = 1_790_000_000_123_456_789
    series = Series.of([now, now + 1, now + 2], [1.0, 3.0, 7.0], GOOD)
    rows = aggregate_series(series, now, now + 2, 1, Aggregate.TIME_AVERAGE_2)
    assert [(r.time_ns - now, r.value) for r in rows] == [(0, 2.0), (1, 5.0)]


@pytest.mark.parametrize(
    ("good", "bad", "expected"),
    [
        (57, 44, GOOD),
        (58, 43, BAD),
        (58, 42, DATA_SUB_NORMAL),
        (90, 43, BAD),
        (90, 44, DATA_SUB_NORMAL),
    ],
)
def test_shares_of_data_decide_at_the_very_percent(good: int, bad: int, expected: int) -> None:
    """57 of 100 samples are good, 43 bad. Shares that meet (58 and 42): the good one decides."""
    series = Series.of(range(101), [1.0] * 101, [GOOD] * 57 + [BAD] * 43 + [GOOD])
    config = AggregateConfig(percent_data_good=good, percent_data_bad=bad)
    row = aggregate_series(series, 0, 100, 100, Aggregate.COUNT, config=config)[0]
    assert row.quality & 0xFFFF_0000 == expected
    assert math.isnan(row.value) if expected == BAD else row.value == 57


@pytest.mark.parametrize(("bad", "good"), [(101, 100), (-1, 100), (100, 101), (100, -1), (50, 49), (0, 99)])
def test_shares_that_contradict_are_refused(bad: int, good: int) -> None:
    with pytest.raises(WrongInput):
        AggregateConfig(percent_data_bad=bad, percent_data_good=good)


@pytest.mark.parametrize(("start", "end", "interval"), [(5, 5, 1), (5, 4, 1), (0, 10, 0), (0, 10, -1)])
def test_a_request_without_intervals_is_refused(start: int, end: int, interval: int) -> None:
    with pytest.raises(WrongInput):
        aggregate_series(BROKEN, start, end, interval, Aggregate.COUNT)


@pytest.mark.parametrize("kind", list(Aggregate))
def test_nothing_at_all_is_no_data(kind: Aggregate) -> None:
    for empty in (Series.empty(), Series.of([5], [math.nan], NO_DATA)):
        for row in aggregate_series(empty, 0, 20, 10, kind):
            assert math.isnan(row.value)
            assert row.quality == NO_DATA
