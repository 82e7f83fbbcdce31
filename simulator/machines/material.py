"""What the line is fed with: a polymer as it comes in bags, with its moisture, dirt and laboratory facts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from simulator.machines.melt import POLYMERS, Polymer, mixture_factor
from simulator.machines.upsets import Upsets


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """One lot of feed.

    Attributes:
        name: for a person.
        polymer: what it is in the main.
        bulk_density_kg_m3: as it lies in the hopper.
        moisture_percent, dirt_percent: water, and dirt that a screen can hold back, of the feed's mass.
        viscosity_factor: how much stiffer this lot is than the polymer's typical melt.
        mfr_190_2_16, mfr_190_5, mfr_230_2_16: melt mass-flow rates, g/10 min, at that temperature in Cel and
            that load in kg; None: not measured.
        ash_percent: residue on ignition.
        dsc_peaks_cel: melting peaks, the strongest first.
        second_polymer_percent: of another polymer, from the size of its peak.
    """

    name: str
    polymer: Polymer
    bulk_density_kg_m3: float
    moisture_percent: float
    dirt_percent: float
    viscosity_factor: float = 1.0
    mfr_190_2_16: float | None = None
    mfr_190_5: float | None = None
    mfr_230_2_16: float | None = None
    ash_percent: float = 0.0
    dsc_peaks_cel: tuple[float, ...] = ()
    second_polymer_percent: float = 0.0

    def moisture_share(self, upsets: Upsets) -> float:
        """Water in the feed, of its mass."""
        return 0.01 * max(0.0, self.moisture_percent + upsets.moisture_percent)

    def dirt_share(self, upsets: Upsets) -> float:
        """Dirt in the feed, of its mass."""
        return min(1.0, 0.01 * self.dirt_percent * upsets.dirt_factor)

    def stiffness(self, upsets: Upsets) -> float:
        """How much stiffer the melt is than the polymer's typical one, with the rest of the last material."""
        own = self.viscosity_factor * upsets.viscosity_factor
        if upsets.residue_share == 0.0:
            return own
        return own * mixture_factor(upsets.residue_share, upsets.residue_viscosity_factor)


MATERIALS: Mapping[str, Material] = {
    "film": Material(
        name="LDPE film agglomerate, post-consumer",
        polymer=POLYMERS["LDPE"],
        bulk_density_kg_m3=290.0,
        moisture_percent=0.42,
        dirt_percent=1.4,
        mfr_190_2_16=1.1,
        mfr_190_5=4.9,
        ash_percent=1.9,
        dsc_peaks_cel=(110.0, 124.0, 161.0),
        second_polymer_percent=2.0,
    ),
    "bumper": Material(
        name="PP/EPDM regrind, 20 % talc, painted",
        polymer=POLYMERS["PP"],
        bulk_density_kg_m3=430.0,
        moisture_percent=0.15,
        dirt_percent=2.1,
        mfr_230_2_16=12.0,
        ash_percent=21.5,
        dsc_peaks_cel=(163.0, 118.0),
    ),
    "bottle": Material(
        name="HDPE bottle flakes, washed",
        polymer=POLYMERS["HDPE"],
        bulk_density_kg_m3=340.0,
        moisture_percent=0.25,
        dirt_percent=0.5,
        mfr_190_2_16=0.5,
        mfr_190_5=2.0,
        ash_percent=0.9,
        dsc_peaks_cel=(131.0, 162.0),
        second_polymer_percent=3.0,
    ),
    "cup": Material(
        name="PS cup regrind",
        polymer=POLYMERS["PS"],
        bulk_density_kg_m3=380.0,
        moisture_percent=0.12,
        dirt_percent=0.6,
        ash_percent=1.2,
    ),
    "carpet": Material(
        name="PA6 fibre agglomerate",
        polymer=POLYMERS["PA6"],
        bulk_density_kg_m3=310.0,
        moisture_percent=0.35,
        dirt_percent=0.8,
        ash_percent=1.5,
        dsc_peaks_cel=(221.0,),
    ),
}
"""Materials by name. common practice, no source."""
