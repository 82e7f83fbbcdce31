"""Samples at random, and frame points as the server would answer them."""

from __future__ import annotations

import re

from hypothesis import strategies as st

from historian import Frame
from historian.influx.answers import Table
from historian.quality import BAD, GOOD, NO_DATA

samples = st.lists(
    st.tuples(
        st.sampled_from([1, 2]),
        st.integers(-(2**62), 2**62) | st.integers(0, 3),
        st.floats(width=64),
        st.sampled_from([GOOD, 0x40900000, NO_DATA, BAD]),
    ),
    max_size=12,
)


def frame_of(rows: list[tuple[int, int, float, int]], *, arrival_ns: int = 7, epoch: int = 0) -> Frame:
    columns = [list(c) for c in zip(*rows, strict=True)] or [[], [], [], []]
    return Frame.of(*columns, arrival_ns=arrival_ns, clock_epoch=epoch)


def answer_of(lines: list[str]) -> Table:
    """What the server would answer from these frame lines."""
    pattern = re.compile(
        r'frame,line=\S+,part=(\d+) .*body="(.*)",clock=.*,number=(\d+)i,parts=(\d+)i,.* (\d+)'
    )
    rows = [m.groups() for line in lines if (m := pattern.fullmatch(line))]
    assert len(rows) == len(lines)
    part, body, number, parts, time_ns = zip(*rows, strict=True)
    return Table(
        {},
        {
            "time": [int(t) for t in time_ns],
            "part": part,
            "body": body,
            "number": [int(n) for n in number],
            "parts": [int(p) for p in parts],
        },
    )
