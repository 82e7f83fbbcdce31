"""How long all zones have soaked: the steel behind a probe is warm long after the probe is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from rules.seen.heat import HeatTens
from rules.seen.tens import TENS_S

_PAUSE_NS = int(3 * TENS_S * NS)


class SoakClock:
    """Runs while all zones in use are near their set-points, waits while one is a little off, and begins anew
    when one is far off or its heating is switched off.

    Time is counted where there are data, and only there. A clock that was not seen to begin is not known.

    Args:
        counted: which zones count, shape (zones,).
        band_k, restart_k: near, and far off.

    Attributes:
        known: whether its beginning has been seen.
        seconds: on the clock.
    """

    def __init__(self, counted: NDArray[np.bool_], band_k: float, restart_k: float) -> None:
        self._counted = counted
        self._band_k, self._restart_k = band_k, restart_k
        self._last_ns: int | None = None
        self.known = False
        self.seconds = 0.0

    def take(self, heat: HeatTens) -> None:
        """Take the next ten seconds."""
        used = self._counted & (heat.in_use >= 0.5)
        off_k = np.abs(heat.below_k[used])
        seen = ~np.isnan(off_k)
        if (off_k[seen] > self._restart_k).any() or (~heat.heating[used]).any():
            self.known, self.seconds = True, 0.0
        elif seen.all() and len(off_k) and (off_k <= self._band_k).all():
            step_ns = 0 if self._last_ns is None else heat.time_ns - self._last_ns
            self.seconds += step_ns / NS if step_ns <= _PAUSE_NS else TENS_S
        self._last_ns = heat.time_ns

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {"last": self._last_ns, "known": self.known, "seconds": self.seconds}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._last_ns, self.known, self.seconds = state["last"], state["known"], state["seconds"]
