"""Where heat goes in a melt filter: melt, heater plates, the block of the outlet, the wiper's oil, the hall.

The melt is one well-mixed volume. Every flux is computed once and booked on both sides.
"""

from __future__ import annotations

from collections.abc import Sequence

from simulator.machines.account import Account
from simulator.machines.filter_design import FilterDesign
from simulator.machines.hydraulics import Hydraulics
from simulator.machines.melt import Polymer
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.zones import Zone, step_ring

_CONTACT_FADES_S = 120.0
# Melt that has run out comes back before any leaves.
_REFILL_SHARE = 0.5


class FilterHeat:
    """Melt, steel and oil with their heat.

    Attributes:
        plates, block: the heated zones of the housing and of the outlet.
        hydraulics: the wiper's oil.
        account: what crossed the filter's boundary.
        melt_kg, melt_kj, melt_cel: of all that is plastic in it, dirt included.
        melt_on_s: how long melt has been flowing; -1: it does not.
    """

    def __init__(
        self, design: FilterDesign, polymer: Polymer, start_cel: float, loss_factors: Sequence[float]
    ) -> None:
        factors = list(loss_factors) or [1.0] * (design.plates + 1)
        self.design = design
        self.plates = [
            Zone(
                design.plate,
                f"filter.plate.{place + 1}",
                start_cel=start_cel,
                setpoint_cel=design.plate_cel,
                loss_factor=factors[place],
            )
            for place in range(design.plates)
        ]
        self.block = Zone(
            design.block,
            "filter.discharge",
            start_cel=start_cel,
            setpoint_cel=design.block_cel,
            loss_factor=factors[design.plates],
        )
        self.hydraulics = Hydraulics(design.hydraulics, start_cel=start_cel)
        self.account = Account()
        self.melt_kg = self._full_kg = design.volume_l * 1.0e-3 * polymer.density_kg_m3
        self.melt_kj = self.melt_kg * polymer.enthalpy_on_the_way(start_cel)
        self.melt_cel = start_cel
        self.melt_on_s = -1.0
        self._gained_kw = [0.0] * design.plates
        self._electric_kj = self._lost_kj = 0.0

    @property
    def held_kj(self) -> float:
        """Heat of melt, steel and oil, against 0 Cel."""
        steel = sum([zone.held_kj for zone in self.plates])
        return self.melt_kj + steel + self.block.held_kj + self.hydraulics.held_kj

    def run_out(self, kg: float) -> None:
        """So much melt and dirt falls out of the filter at once."""
        kj = kg * self.melt_kj / self.melt_kg
        self.melt_kg -= kg
        self.melt_kj -= kj
        self.account.gave(kg, kj)

    def refill(self, through_kg: float) -> float:
        """What is left for the way out when melt that had run out comes back first, kg."""
        missing_kg = self._full_kg - self.melt_kg
        if missing_kg <= 0.0:
            return through_kg
        return through_kg - min(missing_kg, _REFILL_SHARE * through_kg)

    def step(
        self,
        dt_s: float,
        site: Site,
        upsets: Upsets,
        polymer: Polymer,
        running: bool,
        wiping: bool,
        in_kg: float,
        in_cel: float,
        left_kg: float,
        dissipated_kj: float,
        drive_kj: float,
    ) -> None:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            polymer: the melt.
            running, wiping: whether melt flows, and the wiper cleans.
            in_kg, in_cel: what came in in this step.
            left_kg: what went out of it by all ways.
            dissipated_kj: what its pressure loss warms the melt.
            drive_kj: electric energy of the wiper's drive.
        """
        design = self.design
        self.melt_on_s = (self.melt_on_s + dt_s if self.melt_on_s >= 0.0 else 0.0) if running else -1.0
        contact = self._contact_kw_k() if running else design.rest_kw_k
        gained = self._gained_kw
        to_steel_kw = 0.0
        electric_before, lost_before = self._electric_kj, self._lost_kj
        for place, zone in enumerate(self.plates):
            kw = contact * (self.melt_cel - zone.true_cel)
            gained[place] = kw
            to_steel_kw += kw
        block = self.block
        to_block_kw = design.block.melt_kw_k * (self.melt_cel - block.true_cel) if running else 0.0
        to_steel_kw += to_block_kw
        to_oil_kj = self.hydraulics.step(dt_s, site, wiping, block.true_cel)
        step_ring(self.plates, dt_s, site, upsets, gained)
        block.step(dt_s, site, upsets, to_block_kw - to_oil_kj / dt_s)
        electric_after, lost_after = self._electric_kj, self._lost_kj = self._sums()

        in_kj = in_kg * polymer.enthalpy_kj_kg(in_cel)
        left_kj = left_kg * self.melt_kj / self.melt_kg
        rubbed_kj = design.wiper.efficiency * drive_kj
        self.melt_kj += in_kj - left_kj + dissipated_kj + rubbed_kj - to_steel_kw * dt_s
        self.melt_kg += in_kg - left_kg
        self.melt_cel = polymer.cel_on_the_way(self.melt_kj / self.melt_kg)
        electric_kj = electric_after - electric_before + self.hydraulics.pump_kw * dt_s + drive_kj
        self.account.took(in_kg, in_kj + dissipated_kj + electric_kj)
        self.account.gave(left_kg, left_kj + lost_after - lost_before + drive_kj - rubbed_kj)

    def _sums(self) -> tuple[float, float]:
        electric = self.block.electric_kj
        lost = self.block.lost_kj + self.hydraulics.lost_kj
        for zone in self.plates:
            electric += zone.electric_kj
            lost += zone.lost_kj
        return electric, lost

    def _contact_kw_k(self) -> float:
        """From melt to each plate: the first melt is still solid in places and takes more heat."""
        design = self.design
        fresh = (design.start_contact_s + _CONTACT_FADES_S - self.melt_on_s) / _CONTACT_FADES_S
        fresh = min(1.0, max(0.0, fresh))
        return design.plate.melt_kw_k * (1.0 + (design.start_contact - 1.0) * fresh)
