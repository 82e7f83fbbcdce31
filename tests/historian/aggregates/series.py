"""Random series and configurations, small enough that samples, edges and equal values often coincide."""

from __future__ import annotations

import math

from hypothesis import strategies as st

from historian.aggregates import AggregateConfig
from historian.frame import NS, Series

GOOD, UNCERTAIN, BAD, GAP = 0, 0x4090_0000, 0x808C_0000, 0x809B_0000

Sample = tuple[int, float, int]

qualities = st.sampled_from([GOOD, GOOD, GOOD, UNCERTAIN, BAD, GAP])
values = st.one_of(st.sampled_from([0.0, 1.0, 2.0, -3.0]), st.floats(-1e6, 1e6))


def _sample(time: int, value: float, quality: int) -> Sample:
    return time * NS, math.nan if quality >> 31 else value, quality


samples = st.lists(
    st.builds(_sample, st.integers(-30, 130), values, qualities), max_size=25, unique_by=lambda s: s[0]
)

configs = st.builds(
    lambda uncertain, bad, extra, sloped: AggregateConfig(
        uncertain, bad, min(100 - bad + extra, 100), sloped
    ),
    st.booleans(),
    st.sampled_from([0, 1, 20, 50, 80, 100]),
    st.sampled_from([0, 0, 10, 50, 100]),
    st.booleans(),
)


def series_of(rows: list[Sample]) -> Series:
    """The samples as a series, in the order given."""
    return Series.of([r[0] for r in rows], [r[1] for r in rows], [r[2] for r in rows])
