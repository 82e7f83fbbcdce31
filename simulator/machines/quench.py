"""Pellets in water: how far they cool on their short way, and what is caught of them before the dryer."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi

from simulator.machines.account import Account
from simulator.machines.melt import Polymer
from simulator.machines.plug import Plug

# Of common polymers near their melting point: common practice, no source.
DIFFUSIVITY_MM2_S = 0.10


def kept_share(pellet_mm3: float, time_s: float) -> float:
    """Share of its heat above the water's that a pellet still holds, on average over its volume, 0–1.

    The pellet counts as a sphere of the same volume whose surface has the water's temperature.

    Source: conduction in a sphere with a fixed surface temperature, mean over the volume, first two terms of
    6/π²·Σ exp(−k²·π²·a·t/R²)/k² (Crank, The Mathematics of Diffusion); for short times, where further ones
    count, the short-time form 1 − 6·√(a·t/(π·R²)) + 3·a·t/R².

    Example:
        >>> round(kept_share(18.3, 5.6), 3)
        0.077
    """
    if pellet_mm3 <= 0.0:
        return 0.0
    radius_mm = (0.75 * pellet_mm3 / pi) ** (1.0 / 3.0)
    fourier = DIFFUSIVITY_MM2_S * time_s / (radius_mm * radius_mm)
    if fourier < 0.1:
        short: float = 1.0 - 6.0 * (fourier / pi) ** 0.5 + 3.0 * fourier
        return short
    first = exp(-pi * pi * fourier)
    return 6.0 / (pi * pi) * (first + 0.25 * first**4)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuenchDesign:
    """What lies between die and dryer.

    Attributes:
        travel_s: of the pellets at the designed flow of water.
        slowest_share: the pellets' speed falls with the water's down to this share.
        catcher_percent: agglomerates up to this share slip through the lump catcher.

    The numbers are of this size of machine: common practice, no source.
    """

    travel_s: float = 5.3
    slowest_share: float = 0.2
    catcher_percent: float = 1.0


class Quench:
    """The pellets in the water.

    Attributes:
        to_water_kw: heat that they gave in the last step.
        pellets_kg_s, pellet_kj_kg, pellet_cel: that reach the dryer, without what was caught; their mean heat
            and temperature.
        fines_kg, lumps_kg: on the fines screen and in the lump catcher, since they were emptied.
        account: polymer; heat to the water.
    """

    __slots__ = (
        "_caught_kj",
        "_travel",
        "account",
        "design",
        "fines_kg",
        "lumps_kg",
        "pellet_cel",
        "pellet_kj_kg",
        "pellets_kg_s",
        "to_water_kw",
    )

    def __init__(self, design: QuenchDesign) -> None:
        self.design = design
        self._travel = Plug(design.travel_s)
        self.fines_kg = self.lumps_kg = self._caught_kj = 0.0
        self.to_water_kw = 0.0
        self.pellets_kg_s = self.pellet_kj_kg = self.pellet_cel = 0.0
        self.account = Account()

    @property
    def held_kg(self) -> float:
        """Pellets on their way, and what was caught."""
        return self._travel.held_kg + self.fines_kg + self.lumps_kg

    @property
    def held_kj(self) -> float:
        """Heat in them."""
        return self._travel.held_kj + self._caught_kj

    def empty_catchers(self) -> None:
        """A person empties fines screen and lump catcher."""
        self.account.gave(self.fines_kg + self.lumps_kg, self._caught_kj)
        self.fines_kg = self.lumps_kg = self._caught_kj = 0.0

    def step(
        self,
        dt_s: float,
        polymer: Polymer,
        in_kg_s: float,
        in_cel: float,
        pellet_mm3: float,
        water_cel: float,
        water_share: float,
        fines_percent: float,
        agglomerates_percent: float,
    ) -> None:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            polymer: of the pellets.
            in_kg_s, in_cel: melt that is cut into the water.
            pellet_mm3: volume of a pellet.
            water_cel: that carries it off.
            water_share: its flow as a share of the designed one.
            fines_percent, agglomerates_percent: of the pellets.
        """
        mass_kg = in_kg_s * dt_s
        if mass_kg <= 0.0:
            self.to_water_kw = 0.0
            self._travel.step(dt_s, 0.0, 0.0)
        else:
            design = self.design
            cold_kj_kg = polymer.solid_enthalpy_kj_kg(water_cel)
            melt_kj_kg = polymer.enthalpy_kj_kg(in_cel)
            kept = kept_share(pellet_mm3, design.travel_s / max(design.slowest_share, water_share))
            pellet_kj_kg = cold_kj_kg + (melt_kj_kg - cold_kj_kg) * kept
            # The heat is given where they enter, most of it in the first second; then they travel.
            self.to_water_kw = in_kg_s * (melt_kj_kg - pellet_kj_kg)
            self._travel.step(dt_s, mass_kg, mass_kg * pellet_kj_kg)
            self.account.took(mass_kg, mass_kg * melt_kj_kg)
            self.account.gave(0.0, self.to_water_kw * dt_s)
        self._catch(dt_s, polymer, fines_percent, agglomerates_percent)

    def _catch(
        self, dt_s: float, polymer: Polymer, fines_percent: float, agglomerates_percent: float
    ) -> None:
        """Fines stay on the screen, big lumps in the catcher; the rest goes to the dryer."""
        arrived_kg, arrived_kj = self._travel.out_kg, self._travel.out_kj
        if arrived_kg <= 0.0:
            self.pellets_kg_s = 0.0
            return
        lumps = 0.01 * max(0.0, agglomerates_percent - self.design.catcher_percent)
        caught = min(1.0, 0.01 * fines_percent + lumps)
        fines_kg = min(0.01 * fines_percent, caught) * arrived_kg
        self.fines_kg += fines_kg
        self.lumps_kg += caught * arrived_kg - fines_kg
        self._caught_kj += caught * arrived_kj
        passed_kg, passed_kj = arrived_kg * (1.0 - caught), arrived_kj * (1.0 - caught)
        self.account.gave(passed_kg, passed_kj)
        self.pellets_kg_s = passed_kg / dt_s
        self.pellet_kj_kg = arrived_kj / arrived_kg
        self.pellet_cel = polymer.cel_on_the_way(self.pellet_kj_kg)
