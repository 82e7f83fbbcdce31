"""Columns that repeat themselves are written short, and come back as they were."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.embedded.repeating import Form, first_return, first_run, short, size_byte, whole

NUMBERS = st.integers(-(2**63), 2**63 - 1)
COLUMNS = st.one_of(
    st.lists(NUMBERS, max_size=20),
    st.lists(st.sampled_from([0, 1]), max_size=20),
    st.builds(lambda some, times: some * times, st.lists(NUMBERS, max_size=6), st.integers(1, 5)),
    st.builds(lambda some, times: [n for n in some for _ in range(times)], st.lists(NUMBERS, max_size=6), st.integers(1, 5)),
)  # fmt: skip


@given(COLUMNS, st.integers(0, 25))
def test_a_column_comes_back_as_it_was(numbers: list[int], period: int) -> None:
    column = np.array(numbers, np.dtype("<i8"))
    form, written, parts = short(column, period)
    body = b"head" + b"".join(p.tobytes() for p in parts)
    assert len(body) == 4 + size_byte(form, written, column.dtype) <= 4 + max(column.nbytes, 12)
    np.testing.assert_array_equal(whole(body, 4, form, written, column.dtype, len(column)), column)


def test_which_form_is_taken() -> None:
    def form(*numbers: int, period: int = 0) -> Form:
        return short(np.array(numbers, np.int64), period)[0]

    assert form(1, 1, 1, 1) is Form.RUNS
    assert form(1, 1, 2, 2) is Form.RUNS
    assert form(1, 2, 1, 2, period=2) is Form.CYCLE
    assert form(1, 2, 1, 2, 1, period=2) is Form.CYCLE
    assert form(1, 2, 1, 3, period=2) is Form.WHOLE
    assert form(1, 2, 1, 2) is Form.WHOLE
    assert form() is Form.WHOLE


@pytest.mark.parametrize(
    ("numbers", "run", "back"),
    [([], 0, 0), ([4], 1, 0), ([4, 4], 2, 1), ([4, 5], 1, 0), ([4, 5, 5, 4], 1, 3), ([4, 4, 5, 4], 2, 1)],
)
def test_where_a_column_begins_anew(numbers: list[int], run: int, back: int) -> None:
    column = np.array(numbers, np.int32)
    assert (first_run(column), first_return(column)) == (run, back)


def test_runs_that_give_another_number_of_samples_are_no_column() -> None:
    body = b"".join(p.tobytes() for p in short(np.full(4, 7, np.dtype("<i8")), 0)[2])
    with pytest.raises(ValueError, match="4 numbers for 5 samples"):
        whole(body, 0, Form.RUNS, 1, np.dtype("<i8"), 5)
