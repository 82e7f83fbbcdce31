"""The melt pump: two gears that carry melt from a low pressure to a high one, and so hold the first.

Displacement less what slips back through the gaps: q = V·N·ρ·filling − s·Δp/η. Between screw and gears lies a
little melt that gives way: the pressure before the pump is how full that place is.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from simulator.machines.account import Account
from simulator.machines.melt import KJ_PER_BAR_M3, Polymer
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.zones import PUMP_ZONE, Zone, ZoneDesign, step_row

# Below this pressure the gaps between the teeth no longer fill.
_FILLS_BAR = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MeltPumpDesign:
    """What the melt pump is built like.

    Attributes:
        litre_per_turn: displacement.
        slip_kg_s_bar: what slips back for each bar of difference at the reference viscosity.
        inlet_litre: melt between screw and gears.
        inlet_kg_bar: how much more melt lies there for each bar.
        inlet_setpoint_bar: what the control aims at.
        gain_min_bar, reset_s: of the inlet-pressure control, turns a minute for each bar.
        lowest_min, fastest_min: speeds of the drive.
        faster_min_s: how fast the speed changes.
        efficiency: shaft work that becomes pressure.
        drag_kw: lost in gaps and bearings at the fastest speed, reference viscosity.
        drive_efficiency: of motor and gear.
        rated_kw: of the drive at the fastest speed.
        setpoints_cel: of its zones.
        zone: one zone.

    common practice, no source: all.
    """

    litre_per_turn: float = 0.56
    slip_kg_s_bar: float = 1.4e-4
    inlet_litre: float = 1.6
    inlet_kg_bar: float = 4.0e-3
    inlet_setpoint_bar: float = 35.0
    gain_min_bar: float = 0.25
    reset_s: float = 12.0
    lowest_min: float = 3.0
    fastest_min: float = 60.0
    faster_min_s: float = 4.0
    efficiency: float = 0.62
    drag_kw: float = 3.0
    drive_efficiency: float = 0.88
    rated_kw: float = 22.0
    setpoints_cel: tuple[float, ...] = (220.0, 220.0)
    zone: ZoneDesign = PUMP_ZONE


class MeltPump:
    """The melt pump with its state.

    Attributes:
        zones: of its body.
        enabled: whether its drive is on.
        automatic: whether the control of the inlet pressure sets the speed.
        speed_setpoint_min, speed_min: of the gears.
        inlet_setpoint_bar, inlet_bar: before it, gauge.
        torque_percent, power_kw, energy_kwh: of the drive.
        flow_kg_s: melt that leaves.
        out_cel: that melt.
        filling: how full the gaps between the teeth are, 0–1; below 1 it starves.
        account: what crossed its boundary.
    """

    __slots__ = (
        "_gained_kw",
        "_heat_kj",
        "_integral_min",
        "_mass_kg",
        "account",
        "automatic",
        "design",
        "enabled",
        "energy_kwh",
        "filling",
        "flow_kg_s",
        "inlet_bar",
        "inlet_setpoint_bar",
        "out_cel",
        "polymer",
        "power_kw",
        "speed_min",
        "speed_setpoint_min",
        "torque_percent",
        "zones",
    )

    def __init__(self, design: MeltPumpDesign, polymer: Polymer, *, start_cel: float) -> None:
        """Stand cold, full of what the last run left."""
        self.design = design
        self.polymer = polymer
        self.zones = [
            Zone(design.zone, f"pump.zone.{place}", start_cel=start_cel, setpoint_cel=setpoint)
            for place, setpoint in enumerate(design.setpoints_cel, start=1)
        ]
        self.enabled = False
        self.automatic = True
        self.speed_setpoint_min = self.speed_min = 0.0
        self.inlet_setpoint_bar = design.inlet_setpoint_bar
        self.inlet_bar = 0.0
        self.torque_percent = self.power_kw = self.energy_kwh = 0.0
        self.flow_kg_s = 0.0
        self.out_cel = start_cel
        self.filling = 1.0
        self.account = Account()
        self._mass_kg = 1.0e-3 * design.inlet_litre * polymer.density_kg_m3
        self._heat_kj = self._mass_kg * polymer.enthalpy_kj_kg(start_cel)
        self._integral_min = 0.0
        self._gained_kw = [0.0] * len(self.zones)

    @property
    def _full_kg(self) -> float:
        """Melt before the gears when there is no pressure."""
        return 1.0e-3 * self.design.inlet_litre * self.polymer.density_kg_m3

    @property
    def held_kg(self) -> float:
        """Melt before the gears."""
        return self._mass_kg

    @property
    def held_kj(self) -> float:
        """Heat in steel and melt."""
        return self._heat_kj + sum([zone.held_kj for zone in self.zones])

    @property
    def starves(self) -> bool:
        """Whether the gears get less melt than they could carry."""
        return self.enabled and self.filling < 0.98

    def step(
        self,
        dt_s: float,
        site: Site,
        upsets: Upsets,
        in_kg_s: float,
        in_cel: float,
        outlet_bar: float,
        stiffness: float,
    ) -> float:
        """Go on by one step and say what melt leaves, kg/s.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            in_kg_s, in_cel: melt that comes.
            outlet_bar: pressure after the pump, gauge.
            stiffness: how much stiffer the melt is than the polymer's typical one.
        """
        polymer = self.polymer
        before_bar = self.inlet_bar
        came_kg = in_kg_s * dt_s
        came_kj = came_kg * (polymer.enthalpy_kj_kg(in_cel) + polymer.flow_work_kj_kg(before_bar))
        self.account.took(came_kg, came_kj)
        self._mass_kg += came_kg
        self._heat_kj += came_kj
        self._govern(dt_s)
        relative = stiffness * polymer.temperature_factor(max(polymer.melting_cel, self.out_cel))
        left_kg = self._carry(dt_s, outlet_bar, relative)
        work_kj = self._drive(dt_s, left_kg, outlet_bar, relative)
        self.account.in_kj += work_kj
        # Work and pressure become heat of the melt in it, less what goes on as pressure.
        self._heat_kj += work_kj
        flow_work_kj = left_kg * polymer.flow_work_kj_kg(outlet_bar)
        specific_kj_kg = (self._heat_kj - flow_work_kj) / (self._mass_kg + left_kg)
        left_kj = left_kg * specific_kj_kg + flow_work_kj
        self._heat_kj -= left_kj
        self.account.gave(left_kg, left_kj)
        self.out_cel = polymer.cel_of_enthalpy(specific_kj_kg)
        self._warm(dt_s, site, upsets)
        self.flow_kg_s = left_kg / dt_s
        return self.flow_kg_s

    def _govern(self, dt_s: float) -> None:
        """Speed after the inlet pressure: too much melt before the gears makes them turn faster."""
        design = self.design
        if not self.enabled:
            wanted_min = self._integral_min = 0.0
        elif self.automatic:
            error_bar = self.inlet_bar - self.inlet_setpoint_bar
            wanted_min = design.gain_min_bar * error_bar + self._integral_min
            if design.lowest_min < wanted_min < design.fastest_min:
                self._integral_min += design.gain_min_bar * error_bar * dt_s / design.reset_s
            else:
                wanted_min = min(design.fastest_min, max(design.lowest_min, wanted_min))
                # What saturates must find its way back at once.
                self._integral_min = wanted_min - design.gain_min_bar * error_bar
            self.speed_setpoint_min = wanted_min
        else:
            wanted_min = self._integral_min = min(design.fastest_min, max(0.0, self.speed_setpoint_min))
        most_min = design.faster_min_s * dt_s
        self.speed_min += max(-most_min, min(most_min, wanted_min - self.speed_min))

    def _carry(self, dt_s: float, outlet_bar: float, relative: float) -> float:
        """Melt that the gears carry on, with the pressure before them at the end of the step, kg."""
        design = self.design
        turned_kg = self.speed_min / 60.0 * 1.0e-3 * design.litre_per_turn * self.polymer.density_kg_m3 * dt_s
        spare_kg = self._mass_kg - self._full_kg
        slip = design.slip_kg_s_bar / relative * dt_s
        # Slip is against the pressure at the end of the step, full gaps go by that at its start.
        fills = 1.0 - exp(-3.0 * max(0.0, spare_kg / design.inlet_kg_bar) / _FILLS_BAR)
        share = slip / (design.inlet_kg_bar + slip)
        straight_kg = spare_kg - turned_kg * fills
        inlet_bar = (straight_kg + share * (outlet_bar * design.inlet_kg_bar - straight_kg)) / (
            design.inlet_kg_bar
        )
        inlet_bar = max(0.0, inlet_bar)
        left_kg = min(max(0.0, spare_kg - inlet_bar * design.inlet_kg_bar), max(0.0, spare_kg))
        self._mass_kg -= left_kg
        self.inlet_bar = max(0.0, (self._mass_kg - self._full_kg) / design.inlet_kg_bar)
        slipped_kg = slip * max(0.0, outlet_bar - self.inlet_bar)
        self.filling = min(1.0, (left_kg + slipped_kg) / turned_kg) if turned_kg > 0.0 else 1.0
        return left_kg

    def _drive(self, dt_s: float, left_kg: float, outlet_bar: float, relative: float) -> float:
        """Power and torque; says the work that reaches the melt, kJ, and books the rest as heat."""
        design = self.design
        if self.speed_min < 0.1:
            self.power_kw = self.torque_percent = 0.0
            return 0.0
        lifted_bar = max(0.0, outlet_bar - self.inlet_bar)
        carried_m3_s = self.speed_min / 60.0 * 1.0e-3 * design.litre_per_turn
        turning = self.speed_min / design.fastest_min
        drag: float = relative * turning ** (1.0 + self.polymer.exponent)
        shaft_kw = KJ_PER_BAR_M3 * lifted_bar * carried_m3_s / design.efficiency + design.drag_kw * drag
        self.power_kw = shaft_kw / design.drive_efficiency
        self.torque_percent = 100.0 * self.power_kw / (design.rated_kw * turning)
        self.energy_kwh += self.power_kw * dt_s / 3600.0
        lost_kj = (self.power_kw - shaft_kw) * dt_s
        self.account.in_kj += lost_kj
        self.account.out_kj += lost_kj
        return shaft_kw * dt_s

    def _warm(self, dt_s: float, site: Site, upsets: Upsets) -> None:
        heat_kw = 0.0
        for place, zone in enumerate(self.zones):
            gained_kw = zone.design.melt_kw_k * (self.out_cel - zone.true_cel)
            self._gained_kw[place] = gained_kw
            heat_kw += gained_kw
        self._heat_kj -= heat_kw * dt_s
        step_row(self.zones, dt_s, site, upsets, self._gained_kw)
        for zone in self.zones:
            self.account.in_kj += zone.heat_kw * dt_s
            self.account.out_kj += (zone.loss_kw + zone.cool_kw) * dt_s
