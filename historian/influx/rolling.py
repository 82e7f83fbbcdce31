"""Rollups of samples that come piece by piece. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from historian.frame import Series
from historian.rollups.columns import Rollup, coarser, joined, rollup_of


def rolled(pieces: Iterable[Mapping[int, Series]], interval_ns: int) -> Rollup:
    """The rollup of all pieces together.

    Args:
        pieces: by tag number, one after the other in order of time; an interval may lie across two.
        interval_ns: length of an interval, nanoseconds.

    Example:
        >>> pieces = [{1: Series.of([0, 5], [3.0, 1.0], 0)}, {1: Series.of([8, 12], [2.0, 4.0], 0)}]
        >>> r = rolled(pieces, 10)
        >>> r.start_ns.tolist(), r.samples.tolist(), r.last.tolist()
        ([0, 10], [3, 1], [2.0, 4.0])
    """
    return coarser(joined([_rolled(piece, interval_ns) for piece in pieces]), interval_ns)


def _rolled(piece: Mapping[int, Series], interval_ns: int) -> Rollup:
    series = [(number, piece[number]) for number in sorted(piece) if len(piece[number])]
    if not series:
        return Rollup.empty()
    return rollup_of(
        np.repeat(np.array([number for number, _ in series], dtype=np.int32), [len(s) for _, s in series]),
        np.concatenate([s.time_ns for _, s in series]),
        np.concatenate([s.value for _, s in series]),
        np.concatenate([s.quality for _, s in series]),
        interval_ns,
    )
