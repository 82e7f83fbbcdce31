"""The simulated extruder: barrel, screw drive, throat and vent, tied together by one balance of heat."""

from __future__ import annotations

from math import pi, sin

from simulator.machines.account import Account
from simulator.machines.extruder_design import BUMPER_EXTRUDER, ExtruderDesign
from simulator.machines.material import Material
from simulator.machines.screw import Screw
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.vent import Vent, steam_kj_kg
from simulator.machines.zones import Zone, step_row

__all__ = ["BUMPER_EXTRUDER", "Extruder", "ExtruderDesign"]

# Of what enters the filled length; that smooths it to some ±4 % of what leaves.
_SURGE_SHARE = 0.125
_SURGE_PERIOD_S = 24.0
_NO_FLOW_KG_S = 5.0 / 3600.0
_SPURTS_S = 8.0
_FRICTION_TORQUE = 60.0
# Colder than that, water stays in the melt whatever the vacuum.
_BOILS_CEL = 100.0


class Extruder:
    """The extruder with its state.

    Attributes:
        zones: of the barrel, feed end first.
        screw, vent: its parts.
        screw_setpoint_min: what the operator wants.
        enabled: whether the screw drive is on.
        screw_min: speed of the screw; ``screw_turn``: where it stands within a turn, 0–1.
        melt_cel: melt that leaves the tip; what the probe there feels while none does.
        melt_on_s: how long melt has been flowing; −1: it does not.
        throat_cel: of the feed throat.
        power_kw, torque_percent, energy_kwh: of the drive.
        account: what crossed its boundary.
    """

    __slots__ = (
        "_dry_s",
        "_gained_kw",
        "_surge_s",
        "account",
        "design",
        "enabled",
        "energy_kwh",
        "melt_cel",
        "melt_on_s",
        "power_kw",
        "screw",
        "screw_min",
        "screw_setpoint_min",
        "screw_turn",
        "throat_cel",
        "torque_percent",
        "vent",
        "zones",
    )

    def __init__(
        self,
        design: ExtruderDesign,
        material: Material,
        *,
        start_cel: float,
        loss_factors: list[float] | None = None,
    ) -> None:
        """Stand cold and switched off.

        Args:
            design: what it is built like.
            material: what the last run left on the screw.
            start_cel: of everything.
            loss_factors: how much more than designed each zone loses to the hall, shape (zones,).
        """
        self.design = design
        count = len(design.setpoints_cel)
        factors = loss_factors or [1.0] * count
        self.zones = [
            Zone(
                design.zone,
                f"extruder.zone.{place}",
                start_cel=start_cel,
                setpoint_cel=setpoint,
                loss_factor=factor,
            )
            for place, (setpoint, factor) in enumerate(
                zip(design.setpoints_cel, factors, strict=True), start=1
            )
        ]
        self.screw = Screw(design.screw, material.polymer, count, start_cel=start_cel)
        self.vent = Vent(design.vent, start_cel=start_cel)
        self.screw_setpoint_min = self.screw_min = self.screw_turn = 0.0
        self.enabled = False
        self.melt_cel = self.throat_cel = start_cel
        self.melt_on_s = -1.0
        self.power_kw = self.torque_percent = self.energy_kwh = 0.0
        self.account = Account()
        self._gained_kw = [0.0] * count
        self._surge_s = 0.0
        self._dry_s = 0.0

    @property
    def flow_kg_s(self) -> float:
        """Melt that leaves the tip."""
        return self.screw.flow_kg_s

    @property
    def flow_kg_h(self) -> float:
        """Melt that leaves the tip."""
        return 3600.0 * self.screw.flow_kg_s

    @property
    def filled_share(self) -> float:
        """How full the whole channel is, 0–1."""
        return self.screw.filled_share

    @property
    def backed_up_share(self) -> float:
        """How much of the channel is filled from the tip backwards, 0–1."""
        return self.screw.backed_up_share

    @property
    def foam_share(self) -> float:
        """How far the melt foams when its pressure goes, 0–1."""
        return self.vent.foam_share

    @property
    def throat_full(self) -> bool:
        """Whether feed stands in the throat up to the doser."""
        return self.screw.throat_held_kg >= self.design.screw.throat_kg

    @property
    def current_a(self) -> float:
        """Motor current: a magnetising part and one that follows the torque."""
        if self.screw_min < 1.0:
            return 0.0
        return self.design.rated_a * (0.25 + 0.75 * self.torque_percent / 100.0)

    @property
    def specific_kwh_kg(self) -> float:
        """Work of the drive for each kilogram of melt; 0 when none flows."""
        flow_kg_h = self.flow_kg_h
        return self.power_kw / flow_kg_h if flow_kg_h > 20.0 else 0.0

    @property
    def held_kg(self) -> float:
        """Polymer, dirt and water inside."""
        return self.screw.held_kg

    @property
    def held_kj(self) -> float:
        """Heat in steel and polymer."""
        zones_kj = sum([zone.held_kj for zone in self.zones])
        throat_kj = self.design.throat_kj_k * self.throat_cel
        return zones_kj + throat_kj + self.screw.held_kj + self.vent.held_kj

    def step(
        self,
        dt_s: float,
        site: Site,
        upsets: Upsets,
        feed_kg_s: float,
        feed_cel: float,
        moisture_share: float,
        head_bar: float,
        material: Material,
    ) -> float:
        """Go on by one step and say what melt leaves the tip, kg/s.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            feed_kg_s, feed_cel: what falls into the throat.
            moisture_share: water in it, of its mass.
            head_bar: pressure at the tip, gauge.
            material: what it is fed with, of the polymer that it was built with.
        """
        polymer = self.screw.polymer
        stiffness = material.stiffness(upsets)
        self._turn(dt_s)
        feed_kg = feed_kg_s * dt_s
        feed_kj = feed_kg * polymer.solid_enthalpy_kj_kg(feed_cel)
        self.account.took(feed_kg, feed_kj)
        screw = self.screw
        out_kg = screw.convey(
            dt_s,
            self.screw_min,
            feed_kg,
            feed_kj,
            feed_kg * moisture_share,
            material,
            head_bar=head_bar,
            stiffness=stiffness,
            surge=self._surge(dt_s, upsets),
        )
        self.account.gave(out_kg, out_kg * (screw.out_kj_kg + polymer.flow_work_kj_kg(head_bar)))
        screw.work(dt_s, self.screw_min, out_kg, head_bar, stiffness, self.zones, self._gained_kw)
        self._vent(dt_s, site, upsets)
        self._throat(dt_s, site)
        self._warm(dt_s, site, upsets)
        self._drive(dt_s, upsets)
        self._show(dt_s, polymer.cel_of_enthalpy(screw.out_kj_kg))
        return screw.flow_kg_s

    def _turn(self, dt_s: float) -> None:
        design = self.design
        wanted_min = self.screw_setpoint_min if self.enabled else 0.0
        change_min = wanted_min - self.screw_min
        if self.torque_percent > design.limit_torque_percent:
            # The drive gives no more: the load slows it down.
            change_min = min(change_min, -0.2 * self.screw_min)
        slower, faster = -design.slower_min_s * dt_s, design.faster_min_s * dt_s
        self.screw_min = max(0.0, self.screw_min + max(slower, min(faster, change_min)))
        self.screw_turn = (self.screw_turn + self.screw_min * dt_s / 60.0) % 1.0

    def _surge(self, dt_s: float, upsets: Upsets) -> float:
        """A bed that breaks up again and again."""
        if upsets.feed_surge == 0.0:
            self._surge_s = 0.0
            return 0.0
        self._surge_s += dt_s
        return _SURGE_SHARE * upsets.feed_surge * sin(2.0 * pi * self._surge_s / _SURGE_PERIOD_S)

    def _vent(self, dt_s: float, site: Site, upsets: Upsets) -> None:
        screw, vent = self.screw, self.vent
        place = self.design.vent_zone - 1
        cel = screw.polymer_cel[place]
        mass_kg = screw.mass_kg[place]
        vent.pump_on = self.enabled
        water_kg = 0.0
        if cel > _BOILS_CEL:
            water_kg = vent.degas(dt_s, mass_kg, screw.water_kg[place])
        else:
            vent.steam_kg_s = 0.0
        if water_kg > 0.0:
            steam_kj = steam_kj_kg(cel)
            screw.take_water(place, water_kg, steam_kj)
            self.account.gave(water_kg, water_kg * steam_kj)
        passing_kg_s = screw.passed_kg[place] / dt_s
        melt_kg = vent.climb(dt_s, upsets, screw.past_vent, passing_kg_s)
        if melt_kg > 0.0:
            self.account.gave(melt_kg, screw.take_melt(place, melt_kg))
        covered = min(1.0, mass_kg / self.design.screw.lump_kg * 2.0)
        heat_kw = vent.heat_kw(cel, covered)
        screw.heat_kj[place] -= heat_kw * dt_s
        self.account.out_kj += vent.step(dt_s, site, upsets, heat_kw)
        last = screw.lumps - 1
        vent.foam(screw.water_kg[last] / screw.mass_kg[last] if screw.flow_kg_s > _NO_FLOW_KG_S else 0.0)

    def _throat(self, dt_s: float, site: Site) -> None:
        """The throat between the hot first zone, the feed in it and its cooling water."""
        design = self.design
        screw = self.screw
        cel = self.throat_cel
        zone_kw = design.throat_zone_kw_k * (self.zones[0].true_cel - cel)
        covered = min(1.0, screw.mass_kg[0] / design.screw.lump_kg * 2.0)
        feed_kw = design.throat_feed_kw_k * covered * (screw.polymer_cel[0] - cel)
        water_kw = design.throat_water_kw_k * (cel - site.cooling_water_cel)
        self._gained_kw[0] -= zone_kw
        screw.heat_kj[0] -= feed_kw * dt_s
        self.throat_cel = cel + (zone_kw + feed_kw - water_kw) * dt_s / design.throat_kj_k
        self.account.out_kj += water_kw * dt_s

    def _warm(self, dt_s: float, site: Site, upsets: Upsets) -> None:
        step_row(self.zones, dt_s, site, upsets, self._gained_kw)
        electric_kj = lost_kw = 0.0
        for zone in self.zones:
            electric_kj += zone.heat_kw
            lost_kw += zone.loss_kw + zone.cool_kw
        self.account.in_kj += electric_kj * dt_s
        self.account.out_kj += lost_kw * dt_s

    def _drive(self, dt_s: float, upsets: Upsets) -> None:
        """Power and torque of the motor; what does not reach the screw goes to gear cooler and hall."""
        if self.screw_min < 0.5:
            self.power_kw = self.torque_percent = 0.0
            # The last fraction of a turn is not worth a figure, its heat is.
            self.account.in_kj += self.screw.shaft_kj
            return
        design = self.design
        shaft_kw = self.screw.shaft_kj / dt_s
        full_kw = design.rated_kw * self.screw_min / design.rated_min
        power_kw = shaft_kw / design.efficiency + design.idle_kw * self.screw_min / design.screw.reference_min
        # Something that rubs outside the melt: its heat goes the way of the gear's.
        power_kw += 0.01 * _FRICTION_TORQUE * upsets.screw_friction * full_kw
        self.power_kw = power_kw
        self.torque_percent = 100.0 * power_kw / full_kw
        self.energy_kwh += power_kw * dt_s / 3600.0
        self.account.in_kj += power_kw * dt_s
        self.account.out_kj += power_kw * dt_s - self.screw.shaft_kj

    def _show(self, dt_s: float, leaving_cel: float) -> None:
        if self.screw.flow_kg_s > _NO_FLOW_KG_S:
            self._dry_s = 0.0
            self.melt_cel = leaving_cel
        else:
            # The first melt comes in spurts: a pause between two of them is not yet an end.
            self._dry_s += dt_s
            self.melt_cel = self.screw.polymer_cel[-1]
        if self._dry_s == 0.0 or (self.melt_on_s >= 0.0 and self._dry_s < _SPURTS_S):
            self.melt_on_s = self.melt_on_s + dt_s if self.melt_on_s >= 0.0 else 0.0
        else:
            self.melt_on_s = -1.0
