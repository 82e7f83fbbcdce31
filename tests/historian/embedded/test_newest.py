"""The newest sample of each tag, frame by frame, as from all samples at once."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.embedded.newest import Newest
from historian.errors import StoredDataDamaged
from historian.frame import Frame
from historian.quality import NO_DATA
from historian.store import Sample

_SAMPLE = st.tuples(
    st.integers(1, 200),
    st.integers(-5, 5),
    st.sampled_from([0.0, 1.5, np.nan]),
    st.sampled_from([0, NO_DATA]),
)
_FRAMES = st.lists(st.lists(_SAMPLE, max_size=6), max_size=8)


def frames_of(bodies: list[list[tuple[int, int, float, int]]]) -> list[Frame]:
    return [
        Frame.of(*([row[k] for row in rows] for k in range(4)), arrival_ns=100 + number)
        for number, rows in enumerate(bodies)
    ]


def plain(frames: list[Frame]) -> dict[int, Sample]:
    """Of each tag the sample with the newest time; of equal times the one that came last."""
    found: dict[int, Sample] = {}
    for frame in frames:
        columns = (c.tolist() for c in (frame.tag, frame.time_ns, frame.value, frame.quality))
        for tag, time_ns, value, quality in zip(*columns, strict=True):
            if tag not in found or time_ns >= found[tag].time_ns:
                found[tag] = Sample(time_ns, value, quality, frame.arrival_ns)
    return found


def told(newest: Newest) -> dict[int, str]:
    return {n: repr(s) for n in range(300) if (s := newest.sample(n)) is not None}


@settings(max_examples=200, deadline=None)
@given(_FRAMES, st.integers(0, 8))
def test_it_follows_frames_also_over_a_stop(
    bodies: list[list[tuple[int, int, float, int]]], cut: int
) -> None:
    frames = frames_of(bodies)
    newest = Newest()
    for number, frame in enumerate(frames, 1):
        newest.take(number, frame)
        if number == cut:
            newest = Newest.from_bytes(newest.seq, newest.to_bytes(), where="here")
    expected = plain(frames)
    assert told(newest) == {n: repr(s) for n, s in expected.items()}
    assert newest.seq == len(frames)
    assert newest.arrival_ns == max((s.arrival_ns for s in expected.values()), default=0)
    assert told(Newest.of(newest.seq, expected)) == told(newest)


def test_what_is_cut_off_is_refused() -> None:
    data = Newest.of(3, {1: Sample(1, 2.0, 0, 3)}).to_bytes()
    with pytest.raises(StoredDataDamaged, match=r"recent\.db.*doctor"):
        Newest.from_bytes(3, data[:-1], where="recent.db")
