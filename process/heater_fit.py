"""A heated zone's own thermal model, learnt from its history: how fast it warms, and to what it loses heat.

``dT/dt = p u + a (T_hall - T) + g sum(T_nb - T) + h (T_melt - T)``: the energy balance of ``process.heaters``
divided by the heat capacity, with u the controller output as a share. The four numbers of each zone are
estimated by recursive least squares that starts from what is usual for such zones and how sure that is (the
Kalman filter of constant parameters).
Source: T. Soderstrom and P. Stoica, System Identification, ch. 9, recursive least squares; from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_RATE_SIGMA_K_MIN = 0.2
"""How far a measured rate lies from the model: noise of a slope over two minutes, lags of probe and
element."""
_BEYOND = 4.0
"""What lies farther from the model than so many standard deviations is a fault and teaches nothing."""
_LEAST_SHARE = 0.2
"""No conductance falls below this share of what is usual: a plate always touches its neighbours."""


@dataclass(frozen=True, slots=True)
class Prior:
    """What is usual for a kind of zone, and the share by which one may differ (a standard deviation).

    Attributes:
        full_k_min: p, heating rate at full output without losses, K/min.
        hall_per_min, neighbour_per_min, melt_per_min: a, g (for each neighbour), h: loss over heat capacity.
        spread: share.
    """

    full_k_min: float
    hall_per_min: float
    neighbour_per_min: float
    melt_per_min: float
    spread: float = 0.35

    def numbers(self) -> Floats:
        """The four of them, shape (4,)."""
        return np.asarray([self.full_k_min, self.hall_per_min, self.neighbour_per_min, self.melt_per_min])


class HeaterFit:
    """Learns the four numbers of several zones side by side.

    Attributes:
        numbers: of each zone, shape (zones, 4).
    """

    def __init__(self, prior: Prior, zones: int) -> None:
        usual = prior.numbers()
        self._least = _LEAST_SHARE * usual
        self.numbers = np.tile(usual, (zones, 1))
        self._doubt = np.tile(np.diag((prior.spread * usual) ** 2), (zones, 1, 1))

    def take(
        self, rate_k_min: Floats, output_share: Floats, hall_k: Floats, neighbours_k: Floats, melt_k: Floats
    ) -> None:
        """Learn from one interval; a zone with a NaN in it learns nothing.

        Args:
            rate_k_min: how fast each zone warmed, shape (zones,).
            output_share: mean output, 0 to 1.
            hall_k, melt_k: how far the hall and the melt lie above the zone (0 without melt).
            neighbours_k: the same summed over its neighbours.
        """
        seen = np.stack([output_share, hall_k, neighbours_k, melt_k], axis=1)
        at = np.flatnonzero(~(np.isnan(seen).any(axis=1) | np.isnan(rate_k_min)))
        if len(at) == 0:
            return
        x, doubt = seen[at], self._doubt[at]
        moved = np.einsum("zij,zj->zi", doubt, x)
        scatter = _RATE_SIGMA_K_MIN**2 + np.einsum("zi,zi->z", x, moved)
        off = rate_k_min[at] - np.einsum("zi,zi->z", x, self.numbers[at])
        gain = np.where(off**2 < _BEYOND**2 * scatter, 1 / scatter, 0.0)[:, None] * moved
        self.numbers[at] = np.maximum(self.numbers[at] + gain * off[:, None], self._least)
        self._doubt[at] = doubt - gain[:, :, None] * moved[:, None, :]

    def asymptote_cel(
        self, zone: int, hall_cel: float, neighbours_cel: list[float], melt_cel: float
    ) -> float:
        """Where a zone without power goes in the end.

        Args:
            neighbours_cel: temperature of each neighbour.
            melt_cel: NaN: no melt runs.
        """
        _, hall, neighbour, melt = self.numbers[zone].tolist()
        if np.isnan(melt_cel):
            melt, melt_cel = 0.0, 0.0
        flow = hall * hall_cel + neighbour * sum(neighbours_cel) + melt * melt_cel
        return float(flow / (hall + neighbour * len(neighbours_cel) + melt))

    def time_constant_min(self, zone: int, neighbours: int, *, melt: bool) -> float:
        """Time after which a zone left alone has covered 63 % of its way, min."""
        _, hall, neighbour, of_melt = self.numbers[zone].tolist()
        return float(1 / (hall + neighbour * neighbours + (of_melt if melt else 0.0)))

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {"numbers": self.numbers.tolist(), "doubt": self._doubt.tolist()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self.numbers = np.asarray(state["numbers"], dtype=np.float64).reshape(self.numbers.shape)
        self._doubt = np.asarray(state["doubt"], dtype=np.float64).reshape(self._doubt.shape)
