"""What output each zone usually needs beside its peers, and by how much that has shifted.

The shift is that of the last minutes against the median before it began. A zone that shifts stops teaching
what is usual, so a slow shift is not learnt away. Several zones that are alike are compared with each other:
a colder melt or another throughput moves all of them and shifts none.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import Any

import numpy as np
from numpy.typing import NDArray

from process.statistics import median_of_columns
from rules.seen.grid import array, numbers
from rules.seen.heat import HeatedZones
from rules.seen.heat_tens import HeatTens
from rules.seen.line import LineState
from rules.seen.tens import TENS_S

Floats = NDArray[np.float64]

_EACH = 6  # tens of seconds are one point: a minute
_BASE_POINTS = 30
_BASE_FROM = 6
_RECENT_POINTS = 5
_FREEZE_PERCENT = 4.0
_CLOSE_K = 2.0
_LEAST_PEERS = 3
_ROWS = ("minute", "base", "own", "recent")
_START_S = 600.0
_SETTLE_S = 600.0
"""Zones follow a new throughput for longer than pressures do. common practice, no source."""


class UsualOutput:
    """See the module.

    Attributes:
        shift: of each zone's output, beside its peers where they are alike, points of %; NaN while not known.
        base: what it usually needs, %; NaN before it is known.
        near_points: minutes for which the zone has been close to its set-point.
    """

    def __init__(self, zones: HeatedZones) -> None:
        size = len(zones)
        self._zones = zones
        # Beside one or two peers, what befalls a peer would look like a shift of the zone itself.
        self._by_peers = zones.alike & (zones.peers.sum(axis=1) >= _LEAST_PEERS)
        self._minute: list[Floats] = []
        self._base = np.full((_BASE_POINTS, size), np.nan)  # of the output beside its peers
        self._own = np.full((_BASE_POINTS, size), np.nan)  # of the output itself
        self._count = np.zeros(size, dtype=np.int64)
        self._recent = np.full((_RECENT_POINTS, size), np.nan)
        self.shift = np.full(size, np.nan)
        self.base = np.full(size, np.nan)
        self.near_points = np.zeros(size, dtype=np.int64)
        self._out_of_use = np.zeros(size, dtype=np.bool_)

    def take(self, heat: HeatTens, line: LineState) -> bool:
        """Take ten seconds; gives whether a minute is over, and with it a new judgement."""
        self._forget(heat, line)
        if line.unsettled(_START_S, settle_s=0.0) is not None:
            self._minute = []
            self._recent[:] = np.nan
            self.shift[:] = np.nan
            self.near_points[:] = 0
            return False
        self._minute.append(np.where(heat.usable, heat.out, np.nan))
        if len(self._minute) < _EACH:
            return False
        own = np.mean(self._minute, axis=0)
        self._minute = []
        beside = own - np.where(self._by_peers, self._zones.of_peers(own, heat.usable), 0.0)
        self._recent = np.concatenate((self._recent[1:], beside[None, :]))
        self._learn(own, beside, heat)
        near = heat.usable & (np.abs(heat.below_k) < _CLOSE_K)
        self.near_points = np.where(near, self.near_points + 1, 0)
        full = ~np.isnan(self._recent).any(axis=0)
        known = full & (self._count >= _BASE_FROM)
        self.shift = np.where(known, median_of_columns(self._recent) - median_of_columns(self._base), np.nan)
        self.base = np.where(self._count >= _BASE_FROM, median_of_columns(self._own), np.nan)
        return True

    def _learn(self, own: Floats, beside: Floats, heat: HeatTens) -> None:
        usual = median_of_columns(self._base)
        early = self._count < _BASE_FROM
        close = heat.usable & (np.abs(heat.below_k) < _CLOSE_K) & ~np.isnan(beside)
        like = early | (np.abs(beside - usual) < _FREEZE_PERCENT)
        at = np.flatnonzero(close & like)
        if len(at):
            row = self._count[at] % _BASE_POINTS
            self._base[row, at], self._own[row, at] = beside[at], own[at]
            self._count[at] += 1

    def _forget(self, heat: HeatTens, line: LineState) -> None:
        """What is usual ends with a changed set-point there or next to it, a plate taken out, and for zones
        that stand alone with a changed throughput."""
        out_of_use = heat.in_use < 0.5
        anew = np.zeros(len(self._count), dtype=np.bool_)
        if (out_of_use != self._out_of_use).any():
            anew[:] = True
        anew |= heat.settling
        self._out_of_use = out_of_use
        if line.feed_changed_s < _SETTLE_S:
            anew |= ~self._by_peers
        if anew.any():
            self._base[:, anew] = self._own[:, anew] = self._recent[:, anew] = np.nan
            self._count[anew] = 0
            self.shift = np.where(anew, np.nan, self.shift)

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        kept = (self._minute, list(self._base), list(self._own), list(self._recent))
        return {
            **{n: [numbers(r) for r in rows] for n, rows in zip(_ROWS, kept, strict=True)},
            "count": self._count.tolist(),
            "shift": numbers(self.shift),
            "usual": numbers(self.base),
            "near": self.near_points.tolist(),
            "out": self._out_of_use.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        size = len(self._zones)
        self._minute = [array(r) for r in state["minute"]]
        self._base, self._own, self._recent = (
            np.asarray([array(r) for r in state[name]]).reshape(len(state[name]), size)
            for name in ("base", "own", "recent")
        )
        self._count = np.asarray(state["count"], dtype=np.int64)
        self.shift, self.base = array(state["shift"]), array(state["usual"])
        self.near_points = np.asarray(state["near"], dtype=np.int64)
        self._out_of_use = np.asarray(state["out"], dtype=np.bool_)


def points(seconds: float) -> int:
    """How many minutes that are."""
    return ceil(seconds / (_EACH * TENS_S))
