"""Ten seconds of every signal in a handful of numbers, from which the slower rules judge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from rules.block import Rows
from rules.seen.grid import array, numbers

Floats = NDArray[np.float64]

TENS_S = 10.0
_NEEDED = 5  # known seconds of the ten: fewer do not stand for them


@dataclass(frozen=True, slots=True)
class Window:
    """Ten seconds of source time, aligned to multiples of ten.

    Attributes:
        time_ns: the last second of them, UTC nanoseconds.
        rows: the seconds, shape (k, columns), k up to 10; NaN where not known.
        mean, low, high: over the seconds, shape (columns,); NaN where fewer than five are known.
        last: the last second, shape (columns,); NaN where it is not known.
    """

    time_ns: int
    rows: Floats
    mean: Floats
    low: Floats
    high: Floats
    last: Floats


class TensMaker:
    """Gathers grid rows into tens of seconds and gives each once it is over."""

    def __init__(self, columns: int) -> None:
        self._columns = columns
        self._size_ns = int(TENS_S * NS)
        self._window: int | None = None
        self._time_ns = 0
        self._open: list[Floats] = []

    def of(self, rows: Rows) -> list[Window]:
        """The tens that these rows show to be over."""
        if len(rows.time_ns) == 0:
            return []
        which = rows.time_ns // self._size_ns
        cuts = [0, *(np.flatnonzero(np.diff(which)) + 1).tolist(), len(which)]
        over = []
        for a, b in pairwise(cuts):
            if self._window is not None and int(which[a]) != self._window:
                over.append((self._time_ns, np.concatenate(self._open)))
                self._open = []
            self._window, self._time_ns = int(which[a]), int(rows.time_ns[b - 1])
            self._open.append(rows.value[a:b])
        return _summed_up(over)

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        rows = np.concatenate(self._open) if self._open else np.empty((0, self._columns))
        return {"window": self._window, "time": self._time_ns, "open": [numbers(r) for r in rows]}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._window, self._time_ns = state["window"], state["time"]
        self._open = [array(r)[None, :] for r in state["open"]]


def _summed_up(over: list[tuple[int, Floats]]) -> list[Window]:
    if not over:
        return []
    lengths = np.asarray([len(rows) for _, rows in over])
    starts = np.concatenate(([0], np.cumsum(lengths)[:-1]))
    rows = np.concatenate([r for _, r in over])
    known = ~np.isnan(rows)
    count = np.add.reduceat(known, starts, axis=0, dtype=np.int64)
    few = count < _NEEDED
    mean = np.add.reduceat(np.where(known, rows, 0.0), starts, axis=0) / np.maximum(count, 1)
    low = np.minimum.reduceat(np.where(known, rows, np.inf), starts, axis=0)
    high = np.maximum.reduceat(np.where(known, rows, -np.inf), starts, axis=0)
    for one in (mean, low, high):
        one[few] = np.nan
    return [
        Window(time_ns, part, mean[n], low[n], high[n], part[-1]) for n, (time_ns, part) in enumerate(over)
    ]
