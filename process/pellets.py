"""How long pellets are, from what goes through the die and how often it is cut."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan, pi

AREA_SWELL = 1.15
"""Strand area over hole area. common practice, no source; calibrate it once from a measured length."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A die plate and the knives before it.

    Attributes:
        holes, hole_mm: open holes, and their diameter.
        knives: on the rotor.
        swell: area of a strand over that of its hole.
    """

    holes: int
    hole_mm: float
    knives: int
    swell: float = AREA_SWELL

    @property
    def strand_mm2(self) -> float:
        """Cross-section of a strand."""
        return pi / 4 * self.hole_mm**2 * self.swell

    def pellet_mg(self, flow_kg_h: float, knife_per_min: float) -> float:
        """Mean mass of a pellet; NaN while nothing is cut.

        Example:
            >>> round(Cut(120, 2.6, 4).pellet_mg(780, 1607), 2)
            16.85
        """
        cuts_per_h = self.holes * self.knives * knife_per_min * 60
        return flow_kg_h * 1e6 / cuts_per_h if cuts_per_h > 0 else nan

    def length_mm(self, flow_kg_h: float, knife_per_min: float, solid_density_kg_m3: float) -> float:
        """Mean length of a pellet; NaN while nothing is cut.

        Example:
            >>> round(Cut(120, 2.6, 4).length_mm(780, 1607, 920), 2)
            3.0

        Derived here from the mass of a pellet, solid, with the strand's cross-section.
        """
        if not (solid_density_kg_m3 > 0 and self.strand_mm2 > 0):
            return nan
        return self.pellet_mg(flow_kg_h, knife_per_min) / (solid_density_kg_m3 * 1e-3 * self.strand_mm2)

    def knife_per_min(self, flow_kg_h: float, length_mm: float, solid_density_kg_m3: float) -> float:
        """Knife speed that gives this length; NaN when it is not above zero.

        Example:
            >>> round(Cut(120, 2.6, 4).knife_per_min(780, 3.0, 920))
            1607
        """
        at_one = self.length_mm(flow_kg_h, 1.0, solid_density_kg_m3)
        return at_one / length_mm if length_mm > 0 else nan

    def hole_speed_m_s(self, flow_kg_h: float, melt_density_kg_m3: float) -> float:
        """Speed of the melt in a hole; NaN without open holes or density.

        Example:
            >>> round(Cut(120, 2.6, 4).hole_speed_m_s(780, 740), 2)
            0.46
        """
        area_m2 = self.holes * pi / 4 * (self.hole_mm / 1000) ** 2
        return flow_kg_h / 3600 / (melt_density_kg_m3 * area_m2) if melt_density_kg_m3 * area_m2 > 0 else nan
