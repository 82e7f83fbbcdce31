"""Where the pellets go after the dryer: diverter, product bag on its scale, reject bin, floor."""

from __future__ import annotations

from dataclasses import dataclass

from simulator.machines.account import Account
from simulator.machines.plug import Plug

GOOD, REJECT, PURGE = 0, 1, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class OutletDesign:
    """What conveying and weighing are built like.

    Attributes:
        pipe_s: from the water's end to the diverter.
        bag_s, bin_s: from the diverter to the product scale; to the reject bin.
        bag_kg: a bag of that net weight is changed for an empty one.
        scale_step_kg: of both scales.

    The numbers are of this size of machine: common practice, no source.
    """

    pipe_s: float = 2.4
    bag_s: float = 20.0
    bin_s: float = 6.0
    bag_kg: float = 1000.0
    scale_step_kg: float = 0.5


class Outlet:
    """Diverter and scales with their state.

    Attributes:
        diverter: where the pellets go now: 0 good, 1 reject, 2 purge.
        product_kg, reject_kg: what reached bag and bin since the start; ``purge_kg``: what fell on the floor,
            lumps of a die without turning knives included.
        bag_kg: net weight of the bag on the scale; ``bags``: that were changed.
        account: what lies in bags, bin and on the floor is out.
    """

    __slots__ = (
        "_bag",
        "_bin",
        "_pipe",
        "account",
        "bag_kg",
        "bags",
        "design",
        "diverter",
        "product_kg",
        "purge_kg",
        "reject_kg",
    )

    def __init__(self, design: OutletDesign) -> None:
        self.design = design
        self.diverter = PURGE
        self._pipe = Plug(design.pipe_s)
        self._bag = Plug(design.bag_s)
        self._bin = Plug(design.bin_s)
        self.product_kg = self.reject_kg = self.purge_kg = 0.0
        self.bag_kg = 0.0
        self.bags = 0
        self.account = Account()

    @property
    def held_kg(self) -> float:
        """On the way."""
        return self._pipe.held_kg + self._bag.held_kg + self._bin.held_kg

    @property
    def held_kj(self) -> float:
        """Heat on the way."""
        return self._pipe.held_kj + self._bag.held_kj + self._bin.held_kj

    @property
    def product_scale_kg(self) -> float:
        """What the product scale has counted: it goes on over a change of bags."""
        return self._shown(self.product_kg)

    @property
    def bag_scale_kg(self) -> float:
        """Net weight that the product scale shows: 0 after a change of bags."""
        return self._shown(self.bag_kg)

    @property
    def reject_scale_kg(self) -> float:
        """What the reject scale shows."""
        return self._shown(self.reject_kg)

    def change_bag(self) -> None:
        """An empty bag on the scale."""
        self.bag_kg = 0.0
        self.bags += 1

    def step(
        self, dt_s: float, pellets_kg_s: float, pellet_kj_kg: float, lumps_kg_s: float, lump_kj_kg: float
    ) -> None:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            pellets_kg_s, pellet_kj_kg: that leave the dryer.
            lumps_kg_s, lump_kj_kg: melt that leaves the die uncut.
        """
        account = self.account
        lumps_kg, lumps_kj = lumps_kg_s * dt_s, lumps_kg_s * dt_s * lump_kj_kg
        pellets_kg = pellets_kg_s * dt_s
        account.took(pellets_kg + lumps_kg, pellets_kg * pellet_kj_kg + lumps_kj)
        pipe, bag, bin_ = self._pipe, self._bag, self._bin
        pipe.step(dt_s, pellets_kg, pellets_kg * pellet_kj_kg)
        good, rejected = self.diverter == GOOD, self.diverter == REJECT
        bag.step(dt_s, pipe.out_kg if good else 0.0, pipe.out_kj if good else 0.0)
        bin_.step(dt_s, pipe.out_kg if rejected else 0.0, pipe.out_kj if rejected else 0.0)
        floor_kg, floor_kj = lumps_kg, lumps_kj
        if not good and not rejected:
            floor_kg += pipe.out_kg
            floor_kj += pipe.out_kj
        self.product_kg += bag.out_kg
        self.bag_kg += bag.out_kg
        self.reject_kg += bin_.out_kg
        self.purge_kg += floor_kg
        account.gave(bag.out_kg + bin_.out_kg + floor_kg, bag.out_kj + bin_.out_kj + floor_kj)
        if self.bag_kg >= self.design.bag_kg:
            self.change_bag()

    def _shown(self, mass_kg: float) -> float:
        step = self.design.scale_step_kg
        return int(mass_kg / step + 1e-9) * step
