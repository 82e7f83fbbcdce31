"""What a detector is fed: the samples that arrived within one whole second, by tag path."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Frame, Series, Times
from historian.quality import is_bad


class Block:
    """The samples of one whole second of arrival (late samples: of one lot), by tag path.

    A block may span many seconds of source time: after an outage, or when history is filled in.
    """

    __slots__ = ("_series", "arrival_ns")

    def __init__(self, series: Mapping[str, Series], arrival_ns: int) -> None:
        self._series = series
        self.arrival_ns = arrival_ns

    @classmethod
    def of(cls, frame: Frame, paths: Mapping[int, str]) -> Block:
        """The frame's samples by path; samples of unknown tag numbers are passed over."""
        return cls({paths[t]: s for t, s in frame.by_tag() if t in paths}, frame.arrival_ns)

    def series(self, path: str) -> Series:
        """The samples of one tag, sorted by source time; empty where none came."""
        found = self._series.get(path)
        return Series.empty() if found is None else found

    def paths(self) -> list[str]:
        """The tags that have samples here."""
        return list(self._series)


@dataclass(frozen=True, slots=True)
class Rows:
    """Several tags on one time axis.

    Attributes:
        time_ns: every source time at which one of the tags has a sample, rising, shape (m,).
        value: each tag's last value at that time; NaN when bad, unknown or held too long, shape (m, tags).
    """

    time_ns: Times
    value: NDArray[np.float64]


class Held:
    """Lays several tags on one time axis, holding each one's last value between its samples.

    Holding goes on across blocks, so a tag that is sent only when it changes is known all the same.

    Args:
        paths: the tags, in the order of the columns of ``Rows.value``.
        hold_s: how long a value may be held, seconds of source time; the edge repeats an unchanged value
            every 60 s, so more than that means that it is no longer known.
    """

    def __init__(self, paths: Sequence[str], hold_s: float = 90.0) -> None:
        self.paths = tuple(paths)
        self._hold_ns = int(hold_s * NS)
        self._last_time = np.full(len(self.paths), np.iinfo(np.int64).min // 2, dtype=np.int64)
        self._last_value = np.full(len(self.paths), np.nan)

    def rows(self, block: Block) -> Rows:
        """The block's samples of these tags, one row a distinct source time."""
        series = [block.series(p) for p in self.paths]
        times = np.unique(np.concatenate([s.time_ns for s in series])) if series else np.empty(0, np.int64)
        value = np.empty((len(times), len(series)))
        if len(times) == 0:
            return Rows(times, value)
        for column, samples in enumerate(series):
            clean = np.where(is_bad(samples.quality), np.nan, samples.value)
            known_time = np.concatenate(([self._last_time[column]], samples.time_ns))
            known_value = np.concatenate(([self._last_value[column]], clean))
            at = np.searchsorted(samples.time_ns, times, side="right")
            held = known_value[at]
            held[times - known_time[at] > self._hold_ns] = np.nan
            value[:, column] = held
            self._last_time[column], self._last_value[column] = known_time[-1], known_value[-1]
        return Rows(times, value)

    def save(self) -> dict[str, Any]:
        """The held values as JSON types (NaN as null)."""
        return {
            "time": self._last_time.tolist(),
            "value": [None if np.isnan(v) else float(v) for v in self._last_value],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Hold what ``save`` gave."""
        self._last_time = np.asarray(state["time"], dtype=np.int64)
        self._last_value = np.asarray([np.nan if v is None else v for v in state["value"]], dtype=np.float64)
