"""What current a heater draws while it is on: as it has shown, as its peers show, or as the file tells."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from process.statistics import median_of_columns
from rules.seen.grid import array, numbers

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_KEPT = 12
_LEARNT_FROM = 6
_LEAST_A = 0.3
"""Below flows nothing that heats; the noise of a current transformer. common practice, no source."""


class HeaterCurrent:
    """Learns each zone's current while on.

    What counts as its own is the highest median of a minute or two that was ever seen: a heater that loses
    elements draws less, none draws more.

    Args:
        peers: row z: which zones are alike zone z, shape (zones, zones).
        told_a: nominal current, shape (zones,); NaN where it is not told.

    Attributes:
        own_a: as the zone itself has shown; NaN before it has.
        usual_a: what it ought to draw: the higher of its own and its peers' median, else as told.
    """

    def __init__(self, peers: Flags, told_a: Floats) -> None:
        zones = len(told_a)
        self._peers, self._told_a = peers, told_a
        self._kept = np.full((_KEPT, zones), np.nan)
        self._count = np.zeros(zones, dtype=np.int64)
        self.own_a = np.full(zones, np.nan)
        self.usual_a = told_a.copy()

    def take(self, on_a: Floats) -> None:
        """Learn from ten seconds; NaN where the heater was not asked, or its current is not known."""
        at = np.flatnonzero(on_a > _LEAST_A)
        if len(at) == 0:
            return
        self._kept[self._count[at] % _KEPT, at] = on_a[at]
        self._count[at] += 1
        seen = np.where(self._count >= _LEARNT_FROM, median_of_columns(self._kept), np.nan)
        if (np.isnan(self.own_a) & ~np.isnan(seen)).any() or (seen > self.own_a).any():
            self.own_a = np.fmax(self.own_a, seen)
            self.usual_a = self._usual_a()

    def _usual_a(self) -> Floats:
        known = self._peers & ~np.isnan(self.own_a)[None, :]
        peers = median_of_columns(np.where(known, self.own_a[None, :], np.nan).T)
        # One peer alone may be the odd one; two or more are believed.
        peers = np.where(known.sum(axis=1) >= 2, peers, np.nan)
        usual = np.fmax(self.own_a, peers)
        found: Floats = np.where(np.isnan(peers), np.fmax(usual, self._told_a), usual)
        return found

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "kept": [numbers(r) for r in self._kept],
            "count": self._count.tolist(),
            "own": numbers(self.own_a),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._kept = np.asarray([array(r) for r in state["kept"]]).reshape(self._kept.shape)
        self._count = np.asarray(state["count"], dtype=np.int64)
        self.own_a = array(state["own"])
        self.usual_a = self._usual_a()
