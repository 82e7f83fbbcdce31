"""Frames: columns of one length, sorted by tag and source time, nothing lost."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.frame import Frame, Series, concatenate

samples = st.lists(
    st.tuples(
        st.integers(0, 5), st.integers(-(2**62), 2**62), st.floats(allow_nan=False), st.integers(0, 2**32 - 1)
    ),
    max_size=40,
)


def frame_of(rows: list[tuple[int, int, float, int]], arrival_ns: int = 0) -> Frame:
    columns = list(zip(*rows, strict=True)) if rows else [[], [], [], []]
    return Frame.of(*columns, arrival_ns=arrival_ns)


@given(samples)
def test_of_sorts_and_keeps_every_sample(rows: list[tuple[int, int, float, int]]) -> None:
    frame = frame_of(rows)
    back = list(
        zip(
            frame.tag.tolist(),
            frame.time_ns.tolist(),
            frame.value.tolist(),
            frame.quality.tolist(),
            strict=True,
        )
    )
    assert sorted(back) == sorted(rows)
    assert back == sorted(back, key=lambda r: r[:2])


@given(samples)
def test_by_tag_gives_each_tag_once_with_all_its_samples(rows: list[tuple[int, int, float, int]]) -> None:
    parts = list(frame_of(rows).by_tag())
    assert [t for t, _ in parts] == sorted({r[0] for r in rows})
    assert sum(len(s) for _, s in parts) == len(rows)


def test_nanoseconds_survive_whole() -> None:
    stamp = 1_764_079_200_123_456_789  # would lose its last digits in a float64
    assert Frame.of([1], [stamp], [0.0], [0], arrival_ns=stamp).time_ns.tolist() == [stamp]


def test_columns_of_different_length_are_refused_with_their_lengths() -> None:
    with pytest.raises(WrongInput, match="tag 2, time 1"):
        Frame(np.zeros(2, np.int32), np.zeros(1, np.int64), np.zeros(2), np.zeros(2, np.uint32), 0)


@given(samples, samples)
def test_concatenate_is_one_frame_of_both(
    a: list[tuple[int, int, float, int]], b: list[tuple[int, int, float, int]]
) -> None:
    both = concatenate([frame_of(a), frame_of(b)], arrival_ns=7)
    assert both.arrival_ns == 7
    assert sorted(both.value.tolist()) == sorted(r[2] for r in a + b)


def test_one_quality_stands_for_a_whole_series() -> None:
    assert Series.of([1, 2], [3.0, 4.0], 0x809B0000).quality.tolist() == [0x809B0000] * 2
