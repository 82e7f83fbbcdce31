"""Heater currents by every sample that came: how low, how high, and how long none came.

A grid of seconds may hold a sample longer than it lasted: where another source's clock is ahead, its samples
make seconds certain of which the others' have not come yet. The short part of a switching period would be
lost there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from historian.quality import is_bad
from rules.block import Block, Places

Floats = NDArray[np.float64]

_KEPT_NS = 20 * NS


@dataclass(frozen=True, slots=True)
class Sampled:
    """The samples of one stretch of time; arrays of shape (zones,).

    Attributes:
        count: how many.
        low_a, high_a: least and highest; NaN where there is none.
        gap_s: the longest time without one, from the last sample before the stretch to its end.
    """

    count: NDArray[np.int64]
    low_a: Floats
    high_a: Floats
    gap_s: Floats


class CurrentSamples:
    """Keeps the good samples of currents of the last seconds."""

    def __init__(self, subjects: Sequence[str]) -> None:
        self._size = len(subjects)
        self._places = Places({subject + ".i": n for n, subject in enumerate(subjects)})
        self._zone = np.empty(0, dtype=np.int64)
        self._time_ns = np.empty(0, dtype=np.int64)
        self._amps = np.empty(0)

    def take(self, block: Block) -> None:
        """Keep what the block brings."""
        place = self._places.of(block.names)
        here = np.flatnonzero(place >= 0)
        if len(here) == 0:
            return
        zone = np.repeat(place, np.diff(block.start))
        mine = np.flatnonzero(zone >= 0)
        mine = mine[~is_bad(block.quality[mine]) & np.isfinite(block.value[mine])]
        self._zone = np.concatenate((self._zone, zone[mine].astype(np.int64)))
        self._time_ns = np.concatenate((self._time_ns, block.time_ns[mine]))
        self._amps = np.concatenate((self._amps, block.value[mine]))

    def of(self, from_ns: int, to_ns: int) -> Sampled:
        """The samples after ``from_ns`` and up to ``to_ns``; what lies well before is let go."""
        kept = self._time_ns > from_ns - _KEPT_NS
        if not kept.all():
            self._zone, self._time_ns, self._amps = self._zone[kept], self._time_ns[kept], self._amps[kept]
        order = np.lexsort((self._time_ns, self._zone))
        zone, time_ns, amps = self._zone[order], self._time_ns[order], self._amps[order]
        inside = (time_ns > from_ns) & (time_ns <= to_ns)
        count = np.bincount(zone[inside], minlength=self._size)
        low, high = np.full(self._size, np.inf), np.full(self._size, -np.inf)
        np.minimum.at(low, zone[inside], amps[inside])
        np.maximum.at(high, zone[inside], amps[inside])
        none = count == 0
        return Sampled(
            count.astype(np.int64),
            np.where(none, np.nan, low),
            np.where(none, np.nan, high),
            self._gap_s(zone, time_ns, from_ns, to_ns),
        )

    def _gap_s(self, zone: NDArray[np.int64], time_ns: NDArray[np.int64], from_ns: int, to_ns: int) -> Floats:
        past = time_ns <= to_ns
        zone, time_ns = zone[past], time_ns[past]
        last = np.full(self._size, from_ns, dtype=np.int64)
        last[zone] = time_ns  # of equal places the last one written stays
        gap_ns = np.maximum(to_ns - last, 0)
        same = zone[1:] == zone[:-1]
        ends = same & (time_ns[1:] > from_ns)
        np.maximum.at(gap_ns, zone[1:][ends], (time_ns[1:] - time_ns[:-1])[ends])
        first = np.concatenate(([True], ~same)) & (time_ns > from_ns) if len(zone) else np.empty(0, np.bool_)
        np.maximum.at(gap_ns, zone[first], time_ns[first] - from_ns)
        found: Floats = gap_ns / NS
        return found

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {"zone": self._zone.tolist(), "time": self._time_ns.tolist(), "amps": self._amps.tolist()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._zone = np.asarray(state["zone"], dtype=np.int64)
        self._time_ns = np.asarray(state["time"], dtype=np.int64)
        self._amps = np.asarray(state["amps"], dtype=np.float64)
