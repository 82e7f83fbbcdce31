"""Stored times less the shift that counts there are what was stamped, to the nanosecond."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from collector.health.figures import in_path
from historian.catalogue import canonical_tag, meaning_of
from historian.clocks.originals import original_times, shift_path
from historian.frame import Series
from historian.quality import GOOD, NO_DATA

MS = 1_000_000


@given(
    st.lists(st.integers(-(10**12), 10**12), min_size=1, max_size=5),
    st.lists(st.tuples(st.integers(0, 6), st.integers(0, 10**9)), max_size=30),
)
def test_exact_whatever_the_shifts(shifts_ms: list[int], samples: list[tuple[int, int]]) -> None:
    starts = [(k + 1) * 10**10 for k in range(len(shifts_ms))]
    record = Series.of(starts, [float(s) for s in shifts_ms], [GOOD] * len(starts))
    stored, wanted = [], []
    for number, into_ns in samples:
        epoch = number % (len(shifts_ms) + 1)
        at = epoch * 10**10 + into_ns
        stored.append(at)
        wanted.append(at - (shifts_ms[epoch - 1] * MS if epoch else 0))
    found, known = original_times(np.array(stored, dtype=np.int64), record)
    assert found.tolist() == wanted and known.all()


def test_where_nobody_can_tell_it_says_so() -> None:
    record = Series.of([100, 200], [np.nan, 7.0], [NO_DATA, GOOD])
    found, known = original_times(np.array([50, 150, 7 * MS + 200]), record)
    assert found.tolist() == [50, 150, 200] and known.tolist() == [True, False, True]


def test_without_a_record_nothing_was_moved() -> None:
    times = np.array([3, 5])
    found, known = original_times(times, Series.empty())
    assert found.tolist() == [3, 5] and known.all() and found is not times


def test_the_tag_is_one_of_the_recorders() -> None:
    path = shift_path("filter-plc")
    assert path.startswith(f"edge.source.{in_path('filter-plc')}.")
    meaning = meaning_of(path)
    assert meaning is not None and meaning.unit == "ms"
    assert canonical_tag(path, source="edge").holds
