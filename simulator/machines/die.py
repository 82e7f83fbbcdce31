"""The die plate: what pressure its holes take, how its ring keeps warm, how holes freeze and thaw."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, pi

from simulator.machines.account import Account
from simulator.machines.melt import Polymer
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.zones import DIE_RING, Zone, ZoneDesign, step_ring


@dataclass(frozen=True, slots=True, kw_only=True)
class DieDesign:
    """What a die plate is built like.

    Attributes:
        holes, hole_mm: number and diameter of the holes.
        land_mm: length of a hole, entrance loss included.
        zones: heated zones of the ring; each is that share of ``ring``.
        ring: the whole ring as one zone.
        setpoint_cel: of the ring.
        water_kw_k: from the ring to the water in front of it, with the face fully wet.
        wall_weight: how much the steel's temperature counts in the holes, beside the melt's: the wall layer
            carries the shear.
        face_ring, face_melt, face_water: how strongly ring, melt (at ``reference_kg_h``) and water hold the
            temperature of the face.
        reference_kg_h: of the face's melt weight.
        freezes_cel: face below which holes begin to freeze; ``freeze_span_k`` lower all are frozen.
        thaw_k: how much warmer than that the face must be for a plug to melt out.
        freeze_s, thaw_s: time constants of both.

    The numbers are of this size of machine: common practice, no source.
    """

    holes: int = 120
    hole_mm: float = 2.6
    land_mm: float = 20.5
    zones: int = 1
    ring: ZoneDesign = DIE_RING
    setpoint_cel: float = 225.0
    water_kw_k: float = 0.014
    wall_weight: float = 0.37
    face_ring: float = 0.5
    face_melt: float = 0.25
    face_water: float = 0.25
    reference_kg_h: float = 780.0
    freezes_cel: float = 150.0
    freeze_span_k: float = 50.0
    thaw_k: float = 8.0
    freeze_s: float = 90.0
    thaw_s: float = 60.0


# A few holes always find a way: the drop stays finite, and the trip decides.
MOST_FROZEN = 0.95


def _part_of(ring: ZoneDesign, count: int) -> ZoneDesign:
    """One of that many equal zones of a ring; what they exchange with each other stays."""
    if count == 1:
        return ring
    return replace(
        ring,
        capacity_kj_k=ring.capacity_kj_k / count,
        element_kj_k=ring.element_kj_k / count,
        element_kw_k=ring.element_kw_k / count,
        loss_kw_k=ring.loss_kw_k / count,
        melt_kw_k=ring.melt_kw_k / count,
        power_kw=ring.power_kw / count,
        nominal_a=ring.nominal_a / count,
    )


class Die:
    """The die with its state.

    Attributes:
        polymer: the melt in it.
        zones: of the ring.
        out_cel: melt at the face.
        ring_cel, face_cel: mean of the ring; the face between ring, melt and water (hidden truth).
        open_holes: share of the holes that are open, 0–1.
        drop_now_bar: pressure that the melt of the last step lost.
        to_water_kw: from the ring to the water.
        account: melt with its flow work, heaters, losses.
    """

    __slots__ = (
        "_frozen",
        "_gained",
        "_melt_kw_k",
        "account",
        "design",
        "drop_now_bar",
        "face_cel",
        "open_holes",
        "out_cel",
        "polymer",
        "ring_cel",
        "to_water_kw",
        "zones",
    )

    def __init__(
        self, design: DieDesign, polymer: Polymer, *, start_cel: float, loss_factor: float = 1.0
    ) -> None:
        self.design = design
        self.polymer = polymer
        count = design.zones
        part = _part_of(design.ring, count)
        self.zones = [
            Zone(
                part,
                f"die.zone.{place}",
                start_cel=start_cel,
                setpoint_cel=design.setpoint_cel,
                loss_factor=loss_factor,
            )
            for place in range(1, count + 1)
        ]
        self._melt_kw_k = part.melt_kw_k
        # What is in the holes of a cold plate is solid.
        frozen = self._aim(start_cel, 0.0)
        self._frozen = [frozen] * count
        self._gained = [0.0] * count
        self.open_holes = 1.0 - frozen
        self.ring_cel = self.face_cel = self.out_cel = start_cel
        self.drop_now_bar = 0.0
        self.to_water_kw = 0.0
        self.account = Account()

    @property
    def holes(self) -> int:
        """Number of holes, open or not."""
        return self.design.holes

    @property
    def hole_mm(self) -> float:
        """Diameter of a hole."""
        return self.design.hole_mm

    @property
    def heat_kw(self) -> float:
        """What its heaters take from the mains."""
        return sum([zone.heat_kw for zone in self.zones])

    @property
    def held_kg(self) -> float:
        """Nothing: the melt before the holes belongs to the melt pipe."""
        return 0.0

    @property
    def held_kj(self) -> float:
        """Heat in the steel."""
        return sum([zone.held_kj for zone in self.zones])

    def drop_bar(self, kg_s: float, cel: float, viscosity_factor: float) -> float:
        """Pressure that a flow needs to pass the open holes.

        Source: Hagen–Poiseuille for a power-law melt with Rabinowitsch's correction,
        Δp = (2·L/R)·K·a_T^n·((3n+1)/n · q/(π·R³))^n, q the flow through one open hole.
        """
        if kg_s <= 0.0:
            return 0.0
        design, polymer = self.design, self.polymer
        bend = polymer.exponent
        radius_m = 0.0005 * design.hole_mm
        hole_m3_s = kg_s / (polymer.density_kg_m3 * design.holes * self.open_holes)
        shear_s = (3.0 * bend + 1.0) / bend * hole_m3_s / (pi * radius_m**3)
        wall_cel = cel + design.wall_weight * (self.ring_cel - cel)
        stress_pa = polymer.viscosity_pa_s(wall_cel, shear_s) * shear_s * viscosity_factor
        return 2e-5 * 0.001 * design.land_mm / radius_m * stress_pa

    def step(
        self,
        dt_s: float,
        site: Site,
        upsets: Upsets,
        in_kg_s: float,
        in_cel: float,
        viscosity_factor: float,
        water_cel: float,
        wet: float,
    ) -> None:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            in_kg_s, in_cel: melt that arrives before the plate.
            viscosity_factor: how much stiffer than its polymer the melt is.
            water_cel: water in front of the plate.
            wet: how much of the face the water wets, 0–1.
        """
        drop_bar = self.drop_bar(in_kg_s, in_cel, viscosity_factor)
        self.drop_now_bar = drop_bar
        self._freeze(dt_s, upsets.holes_frozen, in_kg_s, in_cel, water_cel, wet)
        count = len(self.zones)
        stream_kw_k = in_kg_s * self.polymer.heat_kj_kg_k / count
        # A slow stream takes the steel's temperature: no more heat than it can hold.
        melt_kw_k = 0.0
        if stream_kw_k > 0.0:
            melt_kw_k = stream_kw_k * (1.0 - exp(-self._melt_kw_k / stream_kw_k))
        water_kw_k = self.design.water_kw_k * wet / count
        from_melt_kw = to_water_kw = 0.0
        gained = self._gained
        for place, zone in enumerate(self.zones):
            melt_kw = melt_kw_k * (in_cel - zone.true_cel)
            water_kw = water_kw_k * (zone.true_cel - water_cel)
            gained[place] = melt_kw - water_kw
            from_melt_kw += melt_kw
            to_water_kw += water_kw
        step_ring(self.zones, dt_s, site, upsets, gained)
        self._book(dt_s, in_kg_s, in_cel, drop_bar, from_melt_kw, to_water_kw)

    def _book(
        self,
        dt_s: float,
        in_kg_s: float,
        in_cel: float,
        drop_bar: float,
        from_melt_kw: float,
        to_water_kw: float,
    ) -> None:
        """Melt leaves warmer by what it dissipates; all that crossed the boundary is written down."""
        polymer, account = self.polymer, self.account
        mass_kg = in_kg_s * dt_s
        if mass_kg > 0.0:
            work_kj_kg = polymer.flow_work_kj_kg(drop_bar)
            self.out_cel = in_cel + (work_kj_kg - from_melt_kw / in_kg_s) / polymer.heat_kj_kg_k
            account.took(mass_kg, mass_kg * (polymer.enthalpy_kj_kg(in_cel) + work_kj_kg))
            account.gave(mass_kg, mass_kg * polymer.enthalpy_kj_kg(self.out_cel))
        self.to_water_kw = to_water_kw
        electric_kw = lost_kw = ring_cel = 0.0
        for zone in self.zones:
            electric_kw += zone.heat_kw
            lost_kw += zone.loss_kw + zone.cool_kw
            ring_cel += zone.true_cel
        self.ring_cel = ring_cel / len(self.zones)
        account.took(0.0, electric_kw * dt_s)
        account.gave(0.0, (lost_kw + to_water_kw) * dt_s)

    def _aim(self, face_cel: float, forced: float) -> float:
        """Share of the holes that freezes in the end at that temperature of the face."""
        aim = (self.design.freezes_cel - face_cel) / self.design.freeze_span_k
        return min(MOST_FROZEN, max(0.0, forced, aim))

    def _freeze(
        self, dt_s: float, forced: float, in_kg_s: float, in_cel: float, water_cel: float, wet: float
    ) -> None:
        """Holes of a cold face freeze; they thaw when it is warm again.

        Heat from the melt to the face grows with the cube root of the flow.
        Source: Lévêque, laminar flow in a tube.
        """
        design = self.design
        share = in_kg_s * 3600.0 / design.reference_kg_h
        melt = design.face_melt * share ** (1.0 / 3.0) if share > 0.0 else 0.0
        water = design.face_water * wet
        whole = design.face_ring + melt + water
        others = melt * in_cel + water * water_cel
        frozen_sum = face_sum = 0.0
        for place, zone in enumerate(self.zones):
            face_cel = (design.face_ring * zone.true_cel + others) / whole
            aim = self._aim(face_cel, forced)
            frozen = self._frozen[place]
            if aim > frozen:
                frozen = aim + (frozen - aim) * exp(-dt_s / design.freeze_s)
            elif frozen > 0.0 and face_cel > design.freezes_cel + design.thaw_k:
                frozen = aim + (frozen - aim) * exp(-dt_s / design.thaw_s)
            self._frozen[place] = frozen if frozen > 1e-6 else 0.0
            frozen_sum += frozen
            face_sum += face_cel
        count = len(self.zones)
        self.open_holes = 1.0 - frozen_sum / count
        self.face_cel = face_sum / count
