"""Times are kept to the nanosecond, in columns that every engine reads."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.archive.stamps import (
    bounds_of,
    columns_of,
    finest,
    rests,
    stamp,
    times_of,
    to_rests,
    to_stamps,
    unit_of,
)

STEPS = {"ms": 1_000_000, "us": 1_000, "ns": 1}


@settings(deadline=None)
@given(st.lists(st.integers(-(2**62), 2**62)), st.sampled_from([1, 1_000, 1_000_000]))
def test_times_keep_every_nanosecond_in_the_coarsest_unit(numbers: list[int], step: int) -> None:
    time_ns = np.array(numbers, dtype=np.int64) // step * step
    unit = unit_of(time_ns)
    assert STEPS[unit] >= step
    schema = pa.schema([stamp("t", unit), *rests(unit, "t")])
    table = pa.Table.from_arrays([to_stamps(time_ns, unit), *to_rests(unit, time_ns)], schema=schema)
    back = times_of(table, "t")
    assert back.dtype == np.int64
    assert np.array_equal(back, time_ns)
    assert table.schema.field("t").type.unit in ("ms", "us")
    assert columns_of(table.schema.names, "t") == table.schema.names


def test_the_finest_unit_is_exact_for_all() -> None:
    assert finest(["ms", "ns", "us"]) == "ns"
    assert finest(["ms", "us"]) == "us"


def test_bounds_take_in_what_the_timestamps_leave_out() -> None:
    class Statistics:
        min_raw, max_raw = 5, 7

    assert bounds_of(Statistics, "us") == (5_000, 7_999)
