"""How dense a polymer melt is at its temperature and pressure, by the Tait equation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, log, nan

from process.rheology import ZERO_CEL_K

_TAIT_C = 0.0894


@dataclass(frozen=True, slots=True)
class Tait:
    """The parameters of one polymer, temperatures in Cel.

    Attributes:
        a0, a1, a2: volume without pressure, m3/kg, and how it grows with temperature.
        b0_pa, b1_per_k: stiffness against pressure, and how it falls with temperature.
        least_k, most_k: between which temperatures they hold.
    """

    a0: float
    a1: float
    a2: float
    b0_pa: float
    b1_per_k: float
    least_k: float
    most_k: float

    def density_kg_m3(self, temp_cel: float, pressure_bar: float = 0.0) -> float:
        """Density of the melt; NaN outside of the temperatures for which the parameters hold.

        Args:
            pressure_bar: gauge.

        Example:
            >>> round(TAIT["LDPE"].density_kg_m3(190), 1), round(TAIT["LDPE"].density_kg_m3(190, 200), 1)
            (757.5, 774.4)
        """
        if not self.least_k <= temp_cel + ZERO_CEL_K <= self.most_k or not pressure_bar >= 0:
            return nan
        free = self.a0 + self.a1 * temp_cel + self.a2 * temp_cel**2
        stiffness_pa = self.b0_pa * exp(-self.b1_per_k * temp_cel)
        return 1 / (free * (1 - _TAIT_C * log(1 + pressure_bar * 1e5 / stiffness_pa)))


TAIT: Mapping[str, Tait] = {
    "HDPE": Tait(1.1567e-3, 6.2888e-07, 1.1268e-09, 178.67e6, 4.7254e-3, 415, 472),
    "LDPE": Tait(1.1004e-3, 1.4557e-06, -1.5749e-09, 175.98e6, 4.6677e-3, 398, 471),
    "LLDPE": Tait(1.1105e-3, 1.2489e-06, -4.0642e-10, 172.55e6, 4.4256e-3, 420, 473),
    "PP": Tait(1.2033e-3, 4.8182e-07, 7.7589e-10, 142.36e6, 4.0184e-3, 447, 571),
    "PS": Tait(0.93805e-3, 3.3086e-07, 6.691e-10, 250.01e6, 4.1815e-3, 389, 469),
    "PC": Tait(0.79165e-3, 4.4201e-07, 2.8583e-10, 312.68e6, 3.9728e-3, 430, 610),
}
"""Polymer → its parameters.

Source: R. P. Danner, M. S. High, Handbook of Polymer Solution Thermodynamics (1993), by way of open data.
"""
