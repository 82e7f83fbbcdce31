"""What a source stamped, where its clock was wrong and its samples are stored under other times; pure.

A source with a wrong clock has its times moved by one shift as long as its clock goes on: whole milliseconds,
recorded as a sample of a tag at the stored time from which it counts. So the original is the stored time less
the shift, to the nanosecond.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from historian.frame import Series, Times
from historian.quality import Mask, is_bad

_MS: Final = 1_000_000
_NEVER: Final = -(2**62)


def shift_path(source: str) -> str:
    """The tag that holds a source's shifts, in milliseconds.

    Example:
        >>> shift_path("filter-plc")
        'edge.source.filter_plc.clock.shift.calc'
    """
    return f"edge.source.{source.replace('-', '_')}.clock.shift.calc"


def shift_window(end_ns: int) -> tuple[int, int]:
    """Where the shifts that count before a time are to be read: from the very first one on."""
    return _NEVER, end_ns


def original_times(time_ns: Times, shifts: Series) -> tuple[Times, Mask]:
    """The times that a source stamped, and which of them are known.

    Where a clock stepped back and its new times came to lie among the old ones, nobody can tell by the stored
    time alone which of the two shifts a sample had; the clock epoch of its frame tells.

    Args:
        time_ns: stored times of samples of the source, shape (n,).
        shifts: of its tag ``shift_path``, from the first one on; bad where the shift is not known.

    Returns:
        original times, and whether each is known; where it is not, the stored time stands; shapes (n,).

    Example:
        >>> shifts = Series.of([100, 200], [5.0, 0.0], 0)
        >>> original_times(np.array([50, 5_000_150, 100]), shifts)[0].tolist()
        [50, 5000150, -4999900]
    """
    at = np.searchsorted(shifts.time_ns, time_ns, side="right") - 1
    has_shift = at >= 0
    if not has_shift.any():
        return time_ns.copy(), np.ones(len(time_ns), dtype=np.bool_)
    value = shifts.value[np.maximum(at, 0)]
    unknown = has_shift & (np.isnan(value) | is_bad(shifts.quality[np.maximum(at, 0)]))
    shift_ms = np.where(has_shift & ~unknown, value, 0.0).astype(np.int64)
    return time_ns - shift_ms * _MS, ~unknown
