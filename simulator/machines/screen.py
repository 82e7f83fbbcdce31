"""The screen of a melt filter: clean holes, dirt that a cleaning takes away or not, a tear.

Pressure difference: ΔP = η(γ_w)·u·R, u = Q/(ρ·A). A clean screen is a bundle of round holes in a
power-law melt: R_clean = 32·L/(φ·d²)·(3n+1)/(4n) at the wall shear rate γ_w = (3n+1)/(4n)·8·u/(φ·d).
Source: Hagen–Poiseuille with the Rabinowitsch correction of a power-law fluid.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import exp, log

from simulator.machines.melt import Polymer

PA_PER_BAR = 1.0e5
# A tear lets the melt past on a path as wide as 0.9 clean screens, and with it dirt.
_TEAR_PATH = 0.9
_TEAR_PASSES = 0.65
# Holes never close all at once: beyond this the law would give an endless pressure.
_LEAST_OPEN = 0.02


class BlockingLaw(Enum):
    """How dirt closes a screen.

    Source: Hermia, blocking filtration laws for power-law non-Newtonian fluids (1982), turned to constant
    flux: dΔP/dv = k·ΔP^m, m = 1 + 1/n, 1 + 2/(3n + 1), 1, 0 in this order; with n = 1: 2, 3/2, 1, 0.
    """

    COMPLETE = "complete"
    STANDARD = "standard"
    INTERMEDIATE = "intermediate"
    CAKE = "cake"


def growth(law: BlockingLaw, closed: float, exponent: float) -> float:
    """How many times its start the pressure difference is at constant flux.

    Args:
        law: how the dirt closes the screen.
        closed: dirt load times the law's constant; 0 at the start.
        exponent: n of the power law.

    Source: the laws above, integrated: (1−s)^−n, (1−s/2)^−(3n+1)/2, e^s, 1+s.
    """
    if law is BlockingLaw.CAKE:
        return 1.0 + closed
    if law is BlockingLaw.INTERMEDIATE:
        return exp(closed)
    if law is BlockingLaw.STANDARD:
        narrowed: float = max(_LEAST_OPEN, 1.0 - closed / 2.0) ** (-(3.0 * exponent + 1.0) / 2.0)
        return narrowed
    shut: float = max(_LEAST_OPEN, 1.0 - closed) ** -exponent
    return shut


def doubling(law: BlockingLaw, exponent: float) -> float:
    """At which product of load and constant the pressure difference has doubled."""
    if law is BlockingLaw.CAKE:
        return 1.0
    if law is BlockingLaw.INTERMEDIATE:
        return log(2.0)
    if law is BlockingLaw.STANDARD:
        half: float = 2.0 ** (-2.0 / (3.0 * exponent + 1.0))
        return 2.0 * (1.0 - half)
    gone: float = 2.0 ** (-1.0 / exponent)
    return 1.0 - gone


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenDesign:
    """What a screen is like.

    Attributes:
        area_m2: active area.
        fineness_um: width of its holes.
        thickness_mm: length of its holes.
        open_share: holes as a share of the area.
        law: how the dirt closes it.
        cake_m_kg: resistance of a cake a kilogram of dirt and square metre; the other laws double the clean
            resistance at the load at which a cake would.
        retention: share of the dirt that it holds.
        strength_bar: pressure difference that it is built for.

    Source: derived here from a clean pressure difference of 20 bar at 780 kg/h; common practice, no source.
    """

    area_m2: float = 0.1178
    fineness_um: float = 110.0
    thickness_mm: float = 0.273
    open_share: float = 0.10
    law: BlockingLaw = BlockingLaw.CAKE
    cake_m_kg: float = 2.38e6
    retention: float = 0.78
    strength_bar: float = 120.0


class Screen:
    """The screen with what lies on it and in it.

    Attributes:
        design: as it was put in.
        exponent: n of the melt that flows through it.
        serial: which piece it is.
        load_kg: dirt on it that a cleaning can take away; ``lasting_kg``: dirt that stays for good.
        lasting_1_m: resistance of what stays for good.
        clean_1_m: resistance without any dirt.
    """

    __slots__ = (
        "_closing_m2_kg",
        "_shear_m",
        "clean_1_m",
        "design",
        "exponent",
        "lasting_1_m",
        "lasting_kg",
        "load_kg",
        "serial",
    )

    def __init__(self, design: ScreenDesign, exponent: float, serial: str) -> None:
        self._put_in(design, exponent, serial)

    def change(self, design: ScreenDesign, exponent: float, serial: str) -> float:
        """Put in a clean screen.

        Returns:
            dirt that went out with the old one, kg.
        """
        gone_kg = self.dirt_kg
        self._put_in(design, exponent, serial)
        return gone_kg

    def _put_in(self, design: ScreenDesign, exponent: float, serial: str) -> None:
        self.design = design
        self.exponent = exponent
        self.serial = serial
        self.load_kg = self.lasting_kg = self.lasting_1_m = 0.0
        hole_m = design.fineness_um * 1.0e-6
        correction = (3.0 * exponent + 1.0) / (4.0 * exponent)
        length_m = design.thickness_mm * 1.0e-3
        self.clean_1_m = 32.0 * length_m / (design.open_share * hole_m * hole_m) * correction
        self._shear_m = correction * 8.0 / (design.open_share * hole_m)
        self._closing_m2_kg = doubling(design.law, exponent) * design.cake_m_kg / self.clean_1_m

    @property
    def dirt_kg(self) -> float:
        """All dirt on it and in it."""
        return self.load_kg + self.lasting_kg

    @property
    def cake_1_m(self) -> float:
        """Resistance that a perfect cleaning would take away."""
        design = self.design
        load_kg_m2 = self.load_kg / design.area_m2
        if design.law is BlockingLaw.CAKE:
            return design.cake_m_kg * load_kg_m2
        times = growth(design.law, self._closing_m2_kg * load_kg_m2, self.exponent)
        return (self.clean_1_m + self.lasting_1_m) * (times - 1.0)

    def resistance_1_m(self, tear: float) -> float:
        """What the melt has to pass; ``tear`` 0–1 opens a path beside it."""
        whole = self.clean_1_m + self.lasting_1_m + self.cake_1_m
        return whole / (1.0 + whole * _TEAR_PATH * tear / self.clean_1_m)

    def shear_1_s(self, kg_s: float, density_kg_m3: float) -> float:
        """Shear rate at the wall of a clean hole."""
        return self._shear_m * kg_s / (density_kg_m3 * self.design.area_m2)

    def difference_bar(
        self, polymer: Polymer, kg_s: float, cel: float, stiffness: float, tear: float
    ) -> float:
        """Pressure difference over it in a steady flow; ``stiffness`` multiplies the melt's viscosity."""
        if kg_s <= 0.0:
            return 0.0
        viscosity = stiffness * polymer.viscosity_pa_s(cel, self.shear_1_s(kg_s, polymer.density_kg_m3))
        velocity = kg_s / (polymer.density_kg_m3 * self.design.area_m2)
        return viscosity * velocity * self.resistance_1_m(tear) / PA_PER_BAR

    def retention(self, tear: float) -> float:
        """Share of the dirt that it holds."""
        return self.design.retention * (1.0 - _TEAR_PASSES * tear)

    def catch(self, dirt_kg: float) -> None:
        """Dirt settles on it."""
        self.load_kg += dirt_kg

    def loosen(self, share: float, stays: float) -> float:
        """Take a share of the load off; the part ``stays`` of that is pressed into the holes for good.

        Returns:
            dirt that came off, kg.
        """
        before_1_m = self.cake_1_m
        off_kg = share * self.load_kg
        self.load_kg -= off_kg
        pressed_kg = stays * off_kg
        if pressed_kg > 0.0:
            self.lasting_1_m += stays * (before_1_m - self.cake_1_m)
            self.lasting_kg += pressed_kg
        return off_kg - pressed_kg
