"""A way that answers something else is found out."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.answers import (
    AnswersDiffer,
    extremes_in,
    extremes_of,
    same_rows,
    same_series,
    same_sums,
    same_within_a_column,
    table_of,
)
from historian.envelope import envelope_of
from historian.frame import Series

NAN = np.nan


def test_rows_are_alike_to_the_bit_where_nothing_else_is_said() -> None:
    same_rows([1.0, NAN], [1.0, NAN], "x")
    same_rows([2**60 + 1], [2**60 + 1], "whole numbers stay whole")
    for other in ([1.0, 0.0], [1.0 + 1e-15, NAN], [1.0], [NAN, 1.0]):
        with pytest.raises(AnswersDiffer, match=r"^x: "):
            same_rows([1.0, NAN], other, "x")
    with pytest.raises(AnswersDiffer):
        same_rows([2**60 + 1], [2**60], "whole numbers stay whole")


def test_rows_may_differ_by_the_order_of_adding_up_where_that_is_said() -> None:
    same_rows([1.0, NAN], [1.0 + 1e-12, NAN], "x", within=1e-9)
    with pytest.raises(AnswersDiffer, match="at 0 of 2"):
        same_rows([1.0, NAN], [1.0 + 1e-6, NAN], "x", within=1e-9)


def test_sums_do_not_care_for_order_but_for_number_and_sum() -> None:
    mine = table_of([(1, 5.0), (2, None), (3, 7.0)])
    same_sums(mine, table_of([(3, 7.0), (1, 5.0), (2, None)]), "x")
    with pytest.raises(AnswersDiffer):
        same_sums(table_of([(1, 5.0), (None, None)]), table_of([(1, 5.0)]), "a row of nothing is a row")
    for other in ([(1, 5.0), (2, None)], [(1, 5.0), (2, 0.0), (3, 7.0)], [(1, 5.0), (2, None), (3, 7.5)]):
        with pytest.raises(AnswersDiffer):
            same_sums(mine, table_of(other), "x")


@pytest.mark.parametrize("column", ["time_ns", "value", "quality"])
def test_a_series_is_compared_in_every_column(column: str) -> None:
    one = Series.of([1, 2], [1.0, NAN], [0, 2**31])
    same_series(one, Series.of([1, 2], [1.0, NAN], [0, 2**31]), "tag")
    changed = {"time_ns": [1, 3], "value": [1.0, 2.0], "quality": [0, 2**31 + 1]}
    given = {"time_ns": one.time_ns, "value": one.value, "quality": one.quality, column: changed[column]}
    with pytest.raises(AnswersDiffer, match=column):
        same_series(one, Series.of(**given), "tag")


def test_an_outline_and_rows_of_buckets_come_to_the_same_extremes() -> None:
    time_ns = np.arange(0, 100, 2)
    value = np.sin(time_ns / 7.0)
    value[20:35] = NAN  # no value from 40 to 70: the third column of four has none
    series = Series.of(time_ns, value, np.where(np.isnan(value), 2**31, 0))
    drawn = extremes_of(envelope_of(series, 0, 100, 5), 0, 100, 5)
    rows = [
        (b, float(np.nanmin(v)), float(np.nanmax(v)))
        for b in range(10)
        if not np.isnan(v := value[(time_ns >= 10 * b) & (time_ns < 10 * b + 10)]).all()
    ]
    counted = extremes_in(rows, 5, a_column=2)
    np.testing.assert_array_equal(drawn, counted)
    assert np.isnan(drawn[2]).all() and not np.isnan(drawn[3]).any()


def test_an_outline_from_rollups_may_be_a_column_off_and_no_more() -> None:
    exact = np.array([[1.0, 5.0], [2.0, 6.0], [0.0, 9.0], [3.0, 4.0]])
    same_within_a_column(exact, exact, "x")
    beside = np.array([[1.0, 5.0], [2.0, 6.0], [3.0, 3.0], [0.0, 9.0]])
    with pytest.raises(AnswersDiffer, match="smallest"):
        same_within_a_column(beside, exact, "shows what the column did not have")
    poorer = np.array([[1.0, 5.0], [2.0, 5.0], [0.0, 9.0], [3.0, 4.0]])
    same_within_a_column(poorer, exact, "the 6 is hidden by the 9 beside it")
    with pytest.raises(AnswersDiffer, match="largest beside"):
        same_within_a_column(np.where(exact == 9.0, 6.0, exact), exact, "the 9 is nowhere")
    with pytest.raises(AnswersDiffer, match="beside"):
        same_within_a_column(np.full_like(exact, NAN), exact, "nothing was drawn")
