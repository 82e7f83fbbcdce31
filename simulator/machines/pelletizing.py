"""Die, knives, process water, dryer and outlet as one: melt comes in, pellets go to bag, bin or floor."""

from __future__ import annotations

from dataclasses import dataclass, field

from simulator.machines.account import Account
from simulator.machines.die import Die, DieDesign
from simulator.machines.dryer import Dryer, DryerDesign
from simulator.machines.knives import Knives, KnivesDesign
from simulator.machines.melt import Polymer
from simulator.machines.outlet import Outlet, OutletDesign
from simulator.machines.quench import Quench, QuenchDesign
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.water import Water, WaterDesign
from simulator.machines.water_pump import WaterPumpDesign

# Below that share of the designed flow the ring is not full: nothing can be cut into it.
_RING_FULL = 0.1
# The face is wet all over long before the flow is what it should be.
_WET_ALL_OVER = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class PelletizingDesign:
    """What the machines after the melt filter are built like."""

    die: DieDesign = field(default_factory=DieDesign)
    knives: KnivesDesign = field(default_factory=KnivesDesign)
    quench: QuenchDesign = field(default_factory=QuenchDesign)
    water: WaterDesign = field(default_factory=WaterDesign)
    dryer: DryerDesign = field(default_factory=DryerDesign)
    outlet: OutletDesign = field(default_factory=OutletDesign)


FOR_LDPE = PelletizingDesign()
FOR_PP = PelletizingDesign(
    die=DieDesign(holes=96, land_mm=21.4, setpoint_cel=245.0, reference_kg_h=620.0, freezes_cel=160.0),
    knives=KnivesDesign(
        setpoint_min=1426.0, reference_min=1426.0, reference_kg_h=620.0, pellet_kg_m3=1030.0, warm_cel=59.0
    ),
    water=WaterDesign(
        setpoint_cel=55.0,
        flow_m3_h=18.0,
        cooler_kw_k=3.8,
        pump=WaterPumpDesign(flow_m3_h=18.0, ring_bar=1.9, shut_bar=2.8),
    ),
    dryer=DryerDesign(reference_kg_h=620.0),
)


class Pelletizing:
    """The machines after the melt filter, stepped in the order of the material.

    Attributes:
        die, knives, quench, water, dryer, outlet: the machines.
        cut_kg_s: melt that was cut in the last step; the rest fell on the floor.
    """

    __slots__ = ("cut_kg_s", "design", "die", "dryer", "knives", "outlet", "quench", "water")

    def __init__(
        self,
        design: PelletizingDesign,
        polymer: Polymer,
        *,
        start_cel: float,
        water_cel: float | None = None,
        loss_factor: float = 1.0,
    ) -> None:
        """Stand cold; ``water_cel`` is the tank's at the start, None: two kelvin below its set-point."""
        self.design = design
        self.die = Die(design.die, polymer, start_cel=start_cel, loss_factor=loss_factor)
        self.knives = Knives(design.knives)
        self.quench = Quench(design.quench)
        # The tank is kept warm overnight.
        warm_cel = design.water.setpoint_cel - 2.0
        self.water = Water(design.water, start_cel=warm_cel if water_cel is None else water_cel)
        self.dryer = Dryer(design.dryer, start_cel=start_cel)
        self.outlet = Outlet(design.outlet)
        self.cut_kg_s = 0.0

    def run(self, on: bool) -> None:
        """Switch knives, water and dryer together."""
        self.knives.running = on
        self.water.on = on
        self.dryer.running = on

    @property
    def machines(self) -> tuple[Die, Knives, Quench, Water, Dryer, Outlet]:
        """In the order of the material."""
        return self.die, self.knives, self.quench, self.water, self.dryer, self.outlet

    @property
    def held_kg(self) -> float:
        """Polymer and water in all of them."""
        return sum([machine.held_kg for machine in self.machines])

    @property
    def held_kj(self) -> float:
        """Heat in all of them."""
        return sum([machine.held_kj for machine in self.machines])

    @property
    def account(self) -> Account:
        """The machines' accounts added up, with what passes between them on both sides."""
        whole = Account()
        for machine in self.machines:
            part = machine.account
            whole.took(part.in_kg, part.in_kj)
            whole.gave(part.out_kg, part.out_kj)
        return whole

    @property
    def power_kw(self) -> float:
        """Electric, all together."""
        return self.die.heat_kw + self.knives.power_kw + self.water.power_kw + self.dryer.power_kw

    def step(
        self,
        dt_s: float,
        site: Site,
        upsets: Upsets,
        in_kg_s: float,
        in_cel: float,
        viscosity_factor: float = 1.0,
    ) -> None:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            in_kg_s, in_cel: melt before the die.
            viscosity_factor: how much stiffer than its polymer the melt is.
        """
        die, knives, quench, water = self.die, self.knives, self.quench, self.water
        dryer, polymer = self.dryer, self.die.polymer
        share = water.share
        wet = min(1.0, share / _WET_ALL_OVER) if knives.closed else 0.0
        die.step(dt_s, site, upsets, in_kg_s, in_cel, viscosity_factor, water.supply_cel, wet)
        design = die.design
        knives.step(
            dt_s,
            site,
            upsets,
            in_kg_s,
            design.holes,
            design.hole_mm,
            die.open_holes,
            water.return_cel,
            share,
        )
        self.cut_kg_s = cut_kg_s = in_kg_s if knives.cutting and share > _RING_FULL else 0.0
        quench.step(
            dt_s,
            polymer,
            cut_kg_s,
            die.out_cel,
            knives.volume_mm3,
            water.return_cel,
            share,
            knives.fines_percent,
            knives.agglomerates_percent,
        )
        water.step(
            dt_s,
            site,
            upsets,
            quench.to_water_kw,
            die.to_water_kw + knives.to_water_kw,
            quench.fines_kg,
        )
        dryer.step(dt_s, site, upsets, polymer, quench.pellets_kg_s, quench.pellet_kj_kg, water.return_cel)
        if dryer.dragged_kg > 0.0:
            water.drag(dryer.dragged_kg)
        self.outlet.step(
            dt_s,
            dryer.out_kg_s,
            dryer.pellet_kj_kg,
            in_kg_s - cut_kg_s,
            polymer.enthalpy_kj_kg(die.out_cel) if in_kg_s > 0.0 else 0.0,
        )
