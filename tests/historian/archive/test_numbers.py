"""Numbers and times come back bit for bit, in the smallest form that can."""

from __future__ import annotations

import io

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.archive.numbers import Form, form_of, from_arrow, integers, to_arrow, valid

_VALUES = st.one_of(
    st.lists(st.floats()),
    st.lists(st.floats(width=32)),
    st.lists(st.tuples(st.integers(-(10**16), 10**16), st.integers(0, 8)).map(lambda t: t[0] / 10 ** t[1])),
    st.lists(st.one_of(st.just(float("nan")), st.integers(-999, 999).map(lambda k: k / 100))),
    st.lists(st.sampled_from([-0.0, 0.0, float("inf"), 5e-324, 1e15, 999_999_999.0, 1e9, 2.0**53])),
)


@settings(deadline=None)  # the first file is slow: the Parquet library starts
@given(_VALUES)
def test_every_double_comes_back_bit_for_bit_through_a_file(values: list[float]) -> None:
    value = np.array(values, dtype=np.float64)
    file = io.BytesIO()
    table = pa.table({"v": to_arrow(value, form_of(value))})
    pq.write_table(table, file, store_decimal_as_integer=True)
    back = from_arrow(pq.read_table(file)["v"])
    none = np.isnan(value)
    assert np.array_equal(np.isnan(back), none)
    assert np.array_equal(back[~none].view(np.int64), value[~none].view(np.int64))


@pytest.mark.parametrize(
    ("values", "form"),
    [
        ([220.1, 219.9], Form(1, 9)),
        ([1.0, 0.0, float("nan")], Form(0, 9)),
        ([], Form(0, 9)),
        ([2.5, 123_456_789_012.25], Form(2, 18)),
        ([999_999_999.0], Form(0, 18)),
        ([-0.0], Form(None, single=True)),
        ([0.1, float(np.float32(0.1))], Form(None)),
        ([1 / 3] * 16, Form(None, repeats=True)),
    ],
)
def test_the_smallest_exact_form_is_found(values: list[float], form: Form) -> None:
    assert form_of(np.array(values)) == form


def test_slices_and_chunks_read_like_the_whole() -> None:
    value = np.array([1.5, np.nan, -2.5, 3.0, 4.5])
    array = to_arrow(value, form_of(value))
    chunked = pa.chunked_array([array.slice(0, 2), array.slice(2)])
    np.testing.assert_array_equal(from_arrow(chunked.slice(1, 3)), value[1:4])
    np.testing.assert_array_equal(from_arrow(array.slice(3)), value[3:])
    assert valid(chunked).tolist() == [True, False, True, True, True]
    assert integers(pa.chunked_array([], pa.int64()), np.int64).tolist() == []
