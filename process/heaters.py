"""How a heated zone warms up, holds and cools: one heat capacity, losses in proportion to temperature.

``C dT/dt = P + UA (T_amb - T) + G (T_nb - T) + h (T_melt - T)``
Source: lumped-capacitance energy balance, e.g. F. P. Incropera et al., Fundamentals of Heat and Mass
Transfer, ch. 5.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, log
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", float, NDArray[np.float64])


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a zone exchanges heat with, Cel."""

    ambient_cel: float
    neighbour_cel: float
    melt_cel: float


@dataclass(frozen=True, slots=True)
class HeaterZone:
    """One heated zone.

    Attributes:
        capacity_j_k: heat capacity C, J/K.
        ambient_w_k: loss to the hall UA, W/K.
        neighbours_w_k: conduction to all neighbours together (sum of G), W/K.
        melt_w_k: exchange with the melt h, W/K; 0 without melt.
        power_w: heating power at full output.
    """

    capacity_j_k: float
    ambient_w_k: float
    neighbours_w_k: float
    melt_w_k: float
    power_w: float

    @property
    def conductance_w_k(self) -> float:
        """All losses together, W/K."""
        return self.ambient_w_k + self.neighbours_w_k + self.melt_w_k

    @property
    def time_constant_s(self) -> float:
        """Time after which a free zone has covered 63 % of its way, s."""
        return self.capacity_j_k / self.conductance_w_k

    @property
    def full_power_k_min(self) -> float:
        """Heating rate at full output without losses, K/min."""
        return 60 * self.power_w / self.capacity_j_k

    def asymptote_cel(self, heating_w: float, around: Surroundings) -> float:
        """Where the temperature goes when the heating stays at ``heating_w``."""
        inflow = (
            heating_w
            + self.ambient_w_k * around.ambient_cel
            + self.neighbours_w_k * around.neighbour_cel
            + self.melt_w_k * around.melt_cel
        )
        return inflow / self.conductance_w_k

    def temp_cel(self, after_s: float, start_cel: float, heating_w: float, around: Surroundings) -> float:
        """Temperature ``after_s`` seconds from ``start_cel`` at constant heating."""
        end = self.asymptote_cel(heating_w, around)
        return end + (start_cel - end) * exp(-after_s / self.time_constant_s)

    def time_to_s(self, temp_cel: float, start_cel: float, heating_w: float, around: Surroundings) -> float:
        """When the temperature is reached, s; infinite when it never is."""
        end = self.asymptote_cel(heating_w, around)
        if temp_cel == start_cel:
            return 0.0
        if (start_cel - end) * (temp_cel - end) <= 0 or abs(temp_cel - end) > abs(start_cel - end):
            return inf
        return self.time_constant_s * log((start_cel - end) / (temp_cel - end))

    def hold_w(self, temp_cel: float, around: Surroundings) -> float:
        """Heating that keeps the temperature, W; negative where it would have to be cooled."""
        return (
            self.ambient_w_k * (temp_cel - around.ambient_cel)
            + self.neighbours_w_k * (temp_cel - around.neighbour_cel)
            + self.melt_w_k * (temp_cel - around.melt_cel)
        )

    def rate_k_min(self, duty_percent: float, temp_cel: float, around: Surroundings) -> float:
        """Expected dT/dt at a controller output, K/min."""
        heating_w = duty_percent / 100 * self.power_w
        return 60 * (heating_w - self.hold_w(temp_cel, around)) / self.capacity_j_k


def missing_rate_k_min(
    duty_percent: Number,
    hold_percent: Number,
    full_power_k_min: Number,
    measured_k_min: Number,
) -> Number:
    """How much faster a zone ought to warm at this output than it does, K/min.

    About zero while the heater gives what the controller asks for, whatever the duty; positive when power is
    missing or the sensor reads falling values. The hold duty stands for all losses, so it must be the zone's
    own of the present operating point. Derived here from the energy balance above, written as a difference to
    the holding state.

    Example:
        >>> round(missing_rate_k_min(62, 33, 5.33, -1.6), 2)
        3.15
    """
    return (duty_percent - hold_percent) / 100 * full_power_k_min - measured_k_min
