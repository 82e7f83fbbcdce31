"""Property: what must hold of every aggregate, whatever the samples are."""

from __future__ import annotations

import math
from itertools import dropwhile

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.aggregates import (
    Aggregate,
    AggregateConfig,
    AggregateRow,
    aggregate_columns,
    aggregate_series,
)
from historian.frame import NS, Series
from tests.historian.aggregates.series import BAD, GAP, GOOD, Sample, configs, qualities, samples, series_of

KINDS = list(Aggregate)
END = 100 * NS
STANDARD = AggregateConfig()

# How a result follows when every value is multiplied: not at all, in step, or with the square.
UNMOVED = {
    "Count",
    "AnnotationCount",
    "NumberOfTransitions",
    "DurationInStateZero",
    "DurationInStateNonZero",
    "DurationGood",
    "DurationBad",
    "PercentGood",
    "PercentBad",
    "WorstQuality",
    "WorstQuality2",
}
SQUARED = {"VarianceSample", "VariancePopulation"}

# Good by definition, or told by single samples or bounding values only.
UNTOUCHED_BY_A_BAD_SAMPLE = {
    "AnnotationCount",
    "Delta",
    "DeltaBounds",
    "DurationBad",
    "DurationGood",
    "End",
    "EndBound",
    "Interpolative",
    "PercentBad",
    "PercentGood",
    "Start",
    "StartBound",
    "WorstQuality",
    "WorstQuality2",
}
strictest = st.builds(AggregateConfig, treat_uncertain_as_bad=st.booleans())


def rows_of(
    series: Series,
    kind: Aggregate,
    *,
    config: AggregateConfig = STANDARD,
    stepped: bool = False,
    start: int = 0,
    end: int = END,
    interval: int = 33 * NS,
) -> list[AggregateRow]:
    return aggregate_series(series, start, end, interval, kind, config=config, stepped=stepped)


def told(rows: list[AggregateRow]) -> list[tuple[int, str, int]]:
    """Rows that compare equal where the values are both missing; every digit counts."""
    return [(r.time_ns, repr(r.value), r.quality) for r in rows]


def severity(row: AggregateRow) -> int:
    return row.quality >> 30


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=15, deadline=None)
@given(rows=samples, config=configs, stepped=st.booleans(), by=st.integers(-(2**60), 2**60))
def test_shifting_all_stamps_changes_nothing(
    kind: Aggregate, rows: list[Sample], config: AggregateConfig, stepped: bool, by: int
) -> None:
    """Down to the last bit, also at stamps of today, where a float64 counts in steps of 256 ns."""
    here = rows_of(series_of(rows), kind, config=config, stepped=stepped)
    moved = series_of([(t + by, v, q) for t, v, q in rows])
    there = rows_of(moved, kind, config=config, stepped=stepped, start=by, end=END + by)
    assert told([AggregateRow(r.time_ns - by, r.value, r.quality) for r in there]) == told(here)


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=15, deadline=None)
@given(data=st.data(), rows=samples, config=configs, stepped=st.booleans())
def test_the_order_in_which_samples_come_does_not_matter(
    kind: Aggregate, data: st.DataObject, rows: list[Sample], config: AggregateConfig, stepped: bool
) -> None:
    shuffled = data.draw(st.permutations(rows))
    ours = rows_of(series_of(shuffled), kind, config=config, stepped=stepped)
    assert told(ours) == told(rows_of(series_of(sorted(rows)), kind, config=config, stepped=stepped))


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=15, deadline=None)
@given(rows=samples, factor=st.sampled_from([0.5, 4.0, 1024.0]), stepped=st.booleans())
def test_another_unit_scales_the_result(
    kind: Aggregate, rows: list[Sample], factor: float, stepped: bool
) -> None:
    """Powers of two, so that not even the rounding differs."""
    scaled = series_of([(t, v * factor, q) for t, v, q in rows])
    power = 0 if kind in UNMOVED else 2 if kind in SQUARED else 1
    for plain, other in zip(
        rows_of(series_of(rows), kind, stepped=stepped), rows_of(scaled, kind, stepped=stepped), strict=True
    ):
        assert other.value == pytest.approx(plain.value * factor**power, rel=1e-12, nan_ok=True)
        assert (other.time_ns, other.quality) == (plain.time_ns, plain.quality)


@settings(max_examples=60, deadline=None)
@given(rows=samples, config=configs, cut=st.integers(1, 99))
def test_counts_and_totals_of_the_parts_add_up(rows: list[Sample], config: AggregateConfig, cut: int) -> None:
    """Not of Total2: the text takes a line to a bad sample for a step, which depends on where the edge lies."""
    series, middle = series_of(rows), cut * NS
    for kind in (Aggregate.COUNT, Aggregate.TOTAL, Aggregate.NUMBER_OF_TRANSITIONS):
        whole = rows_of(series, kind, config=config, interval=END)
        parts = rows_of(series, kind, config=config, end=middle, interval=END)
        parts += rows_of(series, kind, config=config, start=middle, interval=END)
        if any(severity(r) == 2 and kind is not Aggregate.TOTAL for r in whole + parts):
            continue  # a share of bad data hides the number
        total = math.fsum(0.0 if math.isnan(r.value) else r.value for r in parts)
        expected = 0.0 if math.isnan(whole[0].value) else whole[0].value
        assert total == pytest.approx(expected, rel=1e-9, abs=1e-4), kind


@settings(max_examples=60, deadline=None)
@given(rows=samples, stepped=st.booleans(), config=configs)
def test_an_average_lies_between_the_extremes(
    rows: list[Sample], stepped: bool, config: AggregateConfig
) -> None:
    series = series_of(rows)

    def values(kind: Aggregate) -> list[float]:
        found = rows_of(series, kind, stepped=stepped, config=config)
        return [r.value for r in found]

    for low, mean, high in zip(
        values(Aggregate.MINIMUM), values(Aggregate.AVERAGE), values(Aggregate.MAXIMUM), strict=True
    ):
        assert math.isnan(mean) or low <= mean <= high
    for low, mean, high in zip(
        values(Aggregate.MINIMUM_2),
        values(Aggregate.TIME_AVERAGE_2),
        values(Aggregate.MAXIMUM_2),
        strict=True,
    ):
        assert math.isnan(mean) == math.isnan(low) == math.isnan(high)
        assert math.isnan(mean) or low - 1e-6 <= mean <= high + 1e-6


@settings(max_examples=60, deadline=None)
@given(rows=samples, stepped=st.booleans(), config=configs)
def test_the_range_is_that_of_the_extremes(
    rows: list[Sample], stepped: bool, config: AggregateConfig
) -> None:
    series = series_of(rows)
    for names in (("Minimum", "Maximum", "Range"), ("Minimum2", "Maximum2", "Range2")):
        low, high, spread = (
            rows_of(series, Aggregate(name), stepped=stepped, config=config) for name in names
        )
        for a, b, c in zip(low, high, spread, strict=True):
            assert c.value == pytest.approx(b.value - a.value, nan_ok=True)


@pytest.mark.parametrize("kind", [Aggregate.AVERAGE, Aggregate.COUNT, Aggregate.NUMBER_OF_TRANSITIONS])
@settings(max_examples=60, deadline=None)
@given(rows=samples, config=configs)
def test_a_good_count_has_its_share_of_good_samples(
    kind: Aggregate, rows: list[Sample], config: AggregateConfig
) -> None:
    series = series_of(rows)
    for row in rows_of(series, kind, config=config, interval=END):
        ordered = list(dropwhile(lambda r: r[2] == GAP, sorted(rows, key=lambda r: r[0])))
        inside = [q for t, _, q in ordered if 0 <= t < END]
        if severity(row) == 0 and inside:
            good = sum(q == GOOD for q in inside)
            assert good * 100 >= config.percent_data_good * len(inside)


@pytest.mark.parametrize(
    "kind",
    [
        Aggregate.TIME_AVERAGE_2,
        Aggregate.TOTAL_2,
        Aggregate.MINIMUM_2,
        Aggregate.MAXIMUM_2,
        Aggregate.RANGE_2,
    ],
)
@settings(max_examples=60, deadline=None)
@given(rows=samples, config=configs)
def test_a_good_result_has_its_share_of_good_time(
    kind: Aggregate, rows: list[Sample], config: AggregateConfig
) -> None:
    series = series_of(rows)
    share = rows_of(series, Aggregate.PERCENT_GOOD, config=config, stepped=True)
    for row, good in zip(rows_of(series, kind, config=config, stepped=True), share, strict=True):
        if severity(row) == 0:
            assert good.value >= config.percent_data_good - 1e-9


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in UNTOUCHED_BY_A_BAD_SAMPLE])
@settings(max_examples=15, deadline=None)
@given(rows=samples, config=strictest, stepped=st.booleans(), at=st.integers(1, 98))
def test_no_result_is_good_with_a_bad_sample_in_its_interval(
    kind: Aggregate, rows: list[Sample], config: AggregateConfig, stepped: bool, at: int
) -> None:
    """Under the strictest shares, 100 % each."""
    others = [row for row in rows if row[0] != at * NS]
    series = series_of([(0, 1.0, GOOD), *(row for row in others if row[0]), (at * NS, math.nan, BAD)])
    row = rows_of(series, kind, config=config, stepped=stepped, interval=END)[0]
    assert severity(row) >= 1


@settings(max_examples=60, deadline=None)
@given(rows=samples, quality=qualities)
def test_good_and_bad_time_never_exceed_the_interval(rows: list[Sample], quality: int) -> None:
    series = series_of([*rows, (200 * NS, 1.0, quality)])
    for uncertain_is_bad in (True, False):
        config = AggregateConfig(treat_uncertain_as_bad=uncertain_is_bad)
        good = rows_of(series, Aggregate.PERCENT_GOOD, config=config)
        bad = rows_of(series, Aggregate.PERCENT_BAD, config=config)
        for a, b in zip(good, bad, strict=True):
            assert math.isnan(a.value) == math.isnan(b.value)
            assert math.isnan(a.value) or 0 <= a.value + b.value <= 100 + 1e-9


@pytest.mark.parametrize("kind", KINDS)
def test_the_samples_are_left_as_they_were(kind: Aggregate) -> None:
    series = series_of([(5 * NS, 1.0, 0), (50 * NS, math.nan, 0x808C_0000), (3 * NS, 2.0, 0x4090_0000)])
    for column in (series.time_ns, series.value, series.quality):
        column.flags.writeable = False
    copies = [c.copy() for c in (series.time_ns, series.value, series.quality)]
    columns = aggregate_columns(series, 0, END, 10 * NS, kind)
    assert [c.dtype for c in (columns.time_ns, columns.value, columns.quality)] == [
        np.int64,
        np.float64,
        np.uint32,
    ]
    for after, copy in zip((series.time_ns, series.value, series.quality), copies, strict=True):
        np.testing.assert_array_equal(after, copy)
