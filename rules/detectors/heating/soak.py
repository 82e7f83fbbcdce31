"""How long all zones have soaked: the steel behind a probe is warm long after the probe is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from rules.seen.heat_tens import HeatTens
from rules.seen.tens import TENS_S

_PAUSE_NS = int(3 * TENS_S * NS)
# A zone so far below its set-point has stood without heating: the steel around it is cold as well.
# Common practice, no source.
_COLD_K = 50.0


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
        from_cold: whether it began with a zone that was cold through.
        some_out: whether a zone that counts is out of use: the melt and its neighbours must warm it.
    """

    def __init__(self, counted: NDArray[np.bool_], band_k: float, restart_k: float) -> None:
        self._counted = counted
        self._band_k, self._restart_k = band_k, restart_k
        self._last_ns: int | None = None
        self.known = self.from_cold = self.some_out = False
        self.seconds = 0.0

    def take(self, heat: HeatTens) -> None:
        """Take the next ten seconds."""
        used = self._counted & (heat.in_use >= 0.5)
        off_k = np.abs(heat.below_k[used])
        seen = ~np.isnan(off_k)
        self.some_out = bool((self._counted & (heat.in_use < 0.5)).any())
        if (off_k[seen] > self._restart_k).any() or (~heat.heating[used]).any():
            cold = bool((off_k[seen] > _COLD_K).any())
            self.from_cold = cold or (self.from_cold and self.seconds == 0.0)
            self.known, self.seconds = True, 0.0
        elif seen.all() and len(off_k) and (off_k <= self._band_k).all():
            step_ns = 0 if self._last_ns is None else heat.time_ns - self._last_ns
            self.seconds += step_ns / NS if step_ns <= _PAUSE_NS else TENS_S
        self._last_ns = heat.time_ns

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {
            "last": self._last_ns,
            "known": self.known,
            "seconds": self.seconds,
            "cold": self.from_cold,
            "out": self.some_out,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._last_ns, self.known, self.seconds = state["last"], state["known"], state["seconds"]
        self.from_cold, self.some_out = state["cold"], state["out"]
