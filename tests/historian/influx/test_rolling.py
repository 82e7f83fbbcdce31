"""Rollups of pieces are those of the whole."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from historian.frame import Series
from historian.influx.rolling import rolled
from historian.quality import BAD, GOOD, NO_DATA, UNCERTAIN
from historian.rollups.columns import COLUMNS, rollup_of

_SAMPLES = st.lists(
    st.tuples(st.integers(0, 60), st.integers(-8, 8), st.sampled_from([GOOD, GOOD, UNCERTAIN, BAD, NO_DATA])),
    max_size=30,
)


@given(st.tuples(_SAMPLES, _SAMPLES), st.lists(st.integers(0, 61), max_size=5), st.integers(1, 70))
def test_wherever_the_samples_are_cut(
    lots: tuple[list[tuple[int, int, int]], ...], cuts: list[int], interval_ns: int
) -> None:
    # Source times stand once in a series, or side by side in two clock epochs: a cut never parts these.
    series = [Series.of(*zip(*sorted(lot, key=lambda s: s[0]), strict=True)) for lot in lots if lot]
    edges = [0, *sorted(cuts), 100]
    pieces = []
    for low, high in itertools.pairwise(edges):
        inside = [(s.time_ns >= low) & (s.time_ns < high) for s in series]
        pieces.append(
            {
                n: Series(s.time_ns[i], s.value[i], s.quality[i])
                for n, (s, i) in enumerate(zip(series, inside, strict=True), 1)
            }
        )
    whole = rollup_of(
        np.repeat(np.arange(1, len(series) + 1, dtype=np.int32), [len(s) for s in series]),
        *(
            np.concatenate([getattr(s, name) for s in (Series.empty(), *series)])
            for name in ("time_ns", "value", "quality")
        ),
        interval_ns,
    )
    found = rolled(pieces, interval_ns)
    for name in COLUMNS:  # whole numbers: sums are exact in whichever order
        np.testing.assert_array_equal(getattr(found, name), getattr(whole, name), err_msg=name)
