"""The simulated line as one: its machines in flow order, the pressures between them, the hall round them.

Pure: no clock, no disk, no network. It knows nothing of rules or of what the trade computes from its tags,
so that the plant and its judges cannot share a mistake.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import exp, nan
from typing import Protocol

from historian.errors import WrongInput
from simulator.controls.design import ControlDesign
from simulator.controls.line_control import LineControl
from simulator.line_view import SensedLine
from simulator.machines.account import Account
from simulator.machines.die import Die
from simulator.machines.doser import Doser, DoserDesign
from simulator.machines.dryer import Dryer
from simulator.machines.extruder import Extruder, ExtruderDesign
from simulator.machines.filter import FilterDesign, MeltFilter
from simulator.machines.knives import Knives
from simulator.machines.material import MATERIALS, Material
from simulator.machines.melt_pump import MeltPump, MeltPumpDesign
from simulator.machines.meters import Meters, MetersDesign
from simulator.machines.outlet import Outlet
from simulator.machines.pelletizing import Pelletizing, PelletizingDesign
from simulator.machines.pipe import MeltPipe, PipeDesign
from simulator.machines.quench import Quench
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.water import Water
from simulator.machines.zones import Zone
from simulator.scatter import Scatter, ScatterDesign

STEP_S = 1.0
FAST_STEP_S = 0.2

_PRESSURE_LAG_S = 1.5
_KW_PER_A = 0.55  # vacuum pump: 400 V, three phases, power factor 0.8
_DOSER_KW = 0.4
# How far foaming throughout brings down the pressure behind the screw.
_FOAM_LOSS = 0.1
_RESTRICTION_BAR = 110.0
# Dirt and stiffness of the feed reach the filter with the melt: about one hold-up of the screw later.
_THROUGH_SCREW_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantDesign:
    """What the line is built like and what it is fed with at the start.

    Attributes:
        material: in the hopper.
        scatter: whether dirt, feed, hall, mains and heaters scatter; ``uneven``: how much.
        seed: of the scatter.
        hall_cel: mean of the hall.
        control: limits of the controls.
        melt_pump: None: the line has none.
        before, after: melt pipes before and after the filter.
    """

    material: Material = MATERIALS["film"]
    scatter: bool = True
    seed: int = 0
    hall_cel: float = 20.0
    uneven: ScatterDesign = field(default_factory=ScatterDesign)
    control: ControlDesign = field(default_factory=ControlDesign)
    doser: DoserDesign = field(default_factory=DoserDesign)
    extruder: ExtruderDesign = field(default_factory=ExtruderDesign)
    melt_pump: MeltPumpDesign | None = None
    filter: FilterDesign = field(default_factory=FilterDesign)
    pelletizing: PelletizingDesign = field(default_factory=PelletizingDesign)
    meters: MetersDesign = field(default_factory=MetersDesign)
    before: PipeDesign = field(default_factory=lambda: PipeDesign(volume_l=2.0, loss_bar=5.4))
    after: PipeDesign = field(default_factory=lambda: PipeDesign(volume_l=2.7, loss_bar=3.6))


class Part(Protocol):
    """What has a balance."""

    account: Account

    @property
    def held_kg(self) -> float:
        """What it holds."""

    @property
    def held_kj(self) -> float:
        """Heat in that, against 0 Cel."""


class Plant:
    """The line with its state.

    Attributes:
        dt_s: length of a step: a second, or a fifth of one where signals faster than a second are wanted.
        tick: steps since the start.
        site, scatter: the hall; how uneven the day is.
        material: in the hopper now.
        doser, extruder, pump, filter, pelletizing, meters: the machines.
        before, after: melt pipes before and after the filter.
        lost_before_bar, lost_after_bar: in the pipes, in the last step.
        die_flow_kg_s: melt that leaves the filter for the die.
        die_bar, outlet_bar, inlet_bar, head_bar: melt pressures, gauge.
        zones_by_name: every heated zone by the front part of its tags.
        control: what stands between the operator's wishes and the drives.
        upsets: what is wrong with the line at the moment.
        viscosity_factor: how much stiffer than its polymer the melt at the filter is (hidden truth).
    """

    def __init__(self, design: PlantDesign, dt_s: float = STEP_S) -> None:
        if dt_s not in (STEP_S, FAST_STEP_S):
            raise WrongInput(
                f"the plant goes in steps of {STEP_S:g} s or {FAST_STEP_S:g} s, not of {dt_s:g} s"
            )
        self.design = design
        self.dt_s = dt_s
        self.tick = 0
        self._ticks_a_second = round(1.0 / dt_s)
        self.upsets = Upsets()
        self.site = Site(ambient_cel=design.hall_cel)
        self.scatter = Scatter(design.uneven, seed=design.seed, on=design.scatter)
        self.scatter.move(0, self.site, hall_cel=design.hall_cel)
        self.material = design.material
        start_cel = self.site.ambient_cel
        barrel = len(design.extruder.setpoints_cel)
        plates = design.filter.plates
        factors = self.scatter.loss_factors(barrel + plates + 3)
        polymer = design.material.polymer
        self.doser = Doser(design.doser, design.material, start_cel=start_cel)
        self.extruder = Extruder(
            design.extruder, design.material, start_cel=start_cel, loss_factors=factors[:barrel]
        )
        self.pump: MeltPump | None = None
        if design.melt_pump is not None:
            self.pump = MeltPump(design.melt_pump, polymer, start_cel=start_cel)
        self.filter = MeltFilter(
            design.filter, polymer, start_cel=start_cel, loss_factors=factors[barrel : barrel + plates + 1]
        )
        self.pelletizing = Pelletizing(
            design.pelletizing, polymer, start_cel=start_cel, loss_factor=factors[-1]
        )
        self.before = MeltPipe(design.before, polymer, start_cel=start_cel)
        self.after = MeltPipe(design.after, polymer, start_cel=start_cel)
        self.meters = Meters(design.meters, self.site)
        pumps = self.pump.zones if self.pump is not None else []
        self._zones = (
            *self.extruder.zones,
            *pumps,
            *self.filter.plates,
            self.filter.block,
            *self.pelletizing.die.zones,
        )
        self.zones_by_name: Mapping[str, Zone] = {zone.name: zone for zone in self._zones}
        self._heating = self._feeding = False
        self.control = LineControl(design.control)
        self._view = SensedLine(self)
        self.die_bar = self.outlet_bar = self.inlet_bar = self.head_bar = 0.0
        self.viscosity_factor = design.material.stiffness(self.upsets)
        self._stuck: dict[str, float] = {}
        self._slow: dict[str, tuple[int, float]] = {}
        self._dirt_share = 0.0
        self.lost_before_bar = self.lost_after_bar = self.die_flow_kg_s = 0.0
        self._take = 1.0 - exp(-dt_s / _PRESSURE_LAG_S)
        self._pass = 1.0 - exp(-dt_s / _THROUGH_SCREW_S)
        self._taken_kw = [0.0] * 11

    # ---- what it shows ------------------------------------------------------------------------------------

    @property
    def second(self) -> int:
        """Whole seconds since the start."""
        return self.tick // self._ticks_a_second

    @property
    def time_s(self) -> float:
        """Time since the start."""
        return self.tick * self.dt_s

    @property
    def flow_kg_h(self) -> float:
        """Melt that leaves the screw."""
        return self.extruder.flow_kg_h

    @property
    def difference_bar(self) -> float:
        """Pressure difference over the screen."""
        return self.inlet_bar - self.outlet_bar

    @property
    def zones(self) -> Sequence[Zone]:
        """Every heated zone, in flow order."""
        return self._zones

    @property
    def quench(self) -> Quench:
        """Pellets in the water."""
        return self.pelletizing.quench

    @property
    def die(self) -> Die:
        """Of the pelletizer."""
        return self.pelletizing.die

    @property
    def knives(self) -> Knives:
        """Of the pelletizer."""
        return self.pelletizing.knives

    @property
    def water(self) -> Water:
        """The process water."""
        return self.pelletizing.water

    @property
    def dryer(self) -> Dryer:
        """After the water."""
        return self.pelletizing.dryer

    @property
    def outlet(self) -> Outlet:
        """Diverter and scales."""
        return self.pelletizing.outlet

    @property
    def parts(self) -> Sequence[Part]:
        """Everything that has a balance, in flow order."""
        pump: tuple[Part, ...] = () if self.pump is None else (self.pump,)
        return (
            self.doser,
            self.extruder,
            *pump,
            self.before,
            self.filter,
            self.after,
            *self.pelletizing.machines,
        )

    @property
    def held_kg(self) -> float:
        """Polymer, dirt and water in the whole line."""
        return sum(part.held_kg for part in self.parts)

    @property
    def held_kj(self) -> float:
        """Heat in the whole line, steel and all, against 0 Cel."""
        return sum(part.held_kj for part in self.parts)

    def sensed(self, path: str, real: float) -> float:
        """What the line's own controls get from a sensor with whatever is wrong with it; NaN: nothing."""
        upset = self.upsets.sensors.get(path)
        if upset is None:
            self._stuck.pop(path, None)
            self._slow.pop(path, None)
            return real
        if upset.dead:
            return nan
        shown = upset.gain * real + upset.offset
        if upset.lag_s > 0.0:
            shown = self._lagging(path, shown, upset.lag_s)
        return self._stuck.setdefault(path, shown) if upset.frozen else shown

    def _lagging(self, path: str, shown: float, lag_s: float) -> float:
        """A slow sensor follows once a step, however often it is read."""
        tick, slow = self._slow.get(path, (self.tick, shown))
        if tick != self.tick:
            slow += (shown - slow) * (1.0 - exp(-self.dt_s * (self.tick - tick) / lag_s))
        self._slow[path] = (self.tick, slow)
        return slow

    def load(self, material: Material) -> None:
        """The hopper is emptied and filled with another lot.

        Raises:
            WrongInput: a lot of another polymer: every machine is full of the present one.
        """
        new, now = material.polymer, self.material.polymer
        if new != now:
            raise WrongInput(f"a lot of {new.name}: the line is full of {now.name}, start it anew")
        self.material = material

    # ---- time ---------------------------------------------------------------------------------------------

    def step(self) -> None:
        """Go on by one step."""
        dt_s, site, upsets, extruder = self.dt_s, self.site, self.upsets, self.extruder
        if self.tick % self._ticks_a_second == 0:
            self.scatter.move(self.second, site, hall_cel=self.design.hall_cel)
            site.mains_share = self.scatter.mains * upsets.mains_share
        self._command()
        feed_kg_s = self.doser.step(
            dt_s,
            site,
            upsets,
            self._feeding,
            self.material,
            density_factor=self.scatter.density,
            scale_factor=self.scatter.feed,
            blocked=extruder.throat_full,
        )
        flow_kg_s = extruder.step(
            dt_s,
            site,
            upsets,
            feed_kg_s,
            self.doser.out_cel,
            self.material.moisture_share(upsets),
            self.head_bar if self.pump is None else self.pump.inlet_bar,
            self.material,
        )
        self._carry(flow_kg_s)
        self.die_flow_kg_s = out_kg_s = self._filter(flow_kg_s)
        self.after.step(dt_s, out_kg_s, self.filter.out_cel, self.lost_after_bar)
        self._press(flow_kg_s, out_kg_s)
        self.pelletizing.step(dt_s, site, upsets, out_kg_s, self.after.out_cel, self.viscosity_factor)
        self._count_energy()
        self.tick += 1

    def _command(self) -> None:
        """What the controls allow of what the operator wants goes to the drives."""
        commands = self.control.step(self.dt_s, self.time_s, self._view)
        if commands.heat_on is not self._heating:
            self._heating = commands.heat_on
            for zone in self._zones:
                zone.enabled = self._heating
        self.extruder.enabled = commands.screw_on
        self._feeding = commands.feed_on
        pelletizing = self.pelletizing
        pelletizing.knives.running = commands.knives_on
        pelletizing.water.on = pelletizing.dryer.running = commands.water_on
        if self.pump is not None:
            self.pump.enabled = commands.pump_on
        filter_ = self.filter
        filter_.locked = not commands.wiper_on
        if commands.wipe:
            filter_.ask_for_wipe()
        if commands.jog:
            filter_.jog()

    def _carry(self, flow_kg_s: float) -> None:
        """Dirt and stiffness of the feed pass the screw with the melt."""
        if flow_kg_s <= 0.0:
            return
        dirt_share = min(1.0, self.material.dirt_share(self.upsets) * self.scatter.dirt)
        self._dirt_share += (dirt_share - self._dirt_share) * self._pass
        stiffness = self.material.stiffness(self.upsets)
        self.viscosity_factor += (stiffness - self.viscosity_factor) * self._pass

    def _filter(self, flow_kg_s: float) -> float:
        """Through pump, pipe and filter; what leaves towards the die, kg/s."""
        dt_s, site, upsets = self.dt_s, self.site, self.upsets
        melt_cel = self.extruder.melt_cel
        pump = self.pump
        if pump is not None:
            flow_kg_s = pump.step(
                dt_s, site, upsets, flow_kg_s, melt_cel, self.head_bar, self.viscosity_factor
            )
            melt_cel = pump.out_cel
        before = self.before
        lost_bar = before.drop_bar(
            flow_kg_s, melt_cel, self.viscosity_factor, _RESTRICTION_BAR * upsets.melt_line_restriction
        )
        before.step(dt_s, flow_kg_s, melt_cel, lost_bar)
        self.lost_before_bar = lost_bar
        inlet_bar = self.sensed("filter.inlet.pressure.pv", self.inlet_bar)
        outlet_bar = self.sensed("filter.outlet.pressure.pv", self.outlet_bar)
        out_kg_s = self.filter.step(
            dt_s,
            site,
            upsets,
            flow_kg_s,
            before.out_cel if flow_kg_s > 0.0 else self.filter.out_cel,
            self._dirt_share,
            self.viscosity_factor,
            inlet_bar,
            inlet_bar - outlet_bar,
        )
        self.lost_after_bar = self.after.drop_bar(out_kg_s, self.filter.out_cel, self.viscosity_factor)
        return out_kg_s

    def _press(self, flow_kg_s: float, out_kg_s: float) -> None:
        """Pressures follow flow and viscosity with a short lag."""
        die_bar = outlet_bar = inlet_bar = head_bar = 0.0
        if flow_kg_s > 0.0:
            foam = self.extruder.foam_share
            light = (1.0 - _FOAM_LOSS * foam) * (1.0 + foam * (self.scatter.foam - 1.0))
            die = self.pelletizing.die
            die_bar = light * die.drop_bar(out_kg_s, self.after.out_cel, self.viscosity_factor)
            outlet_bar = die_bar + light * self.lost_after_bar
            difference_bar = self.filter.difference_bar(flow_kg_s, self.filter.screen_cel)
            inlet_bar = outlet_bar + difference_bar
            # An open outlet takes some of the pressure behind the screen.
            outlet_bar -= self.filter.wiping_dip_share * difference_bar
            head_bar = inlet_bar + self.lost_before_bar
        take = self._take
        self.die_bar += (die_bar - self.die_bar) * take
        self.outlet_bar += (outlet_bar - self.outlet_bar) * take
        self.inlet_bar += (inlet_bar - self.inlet_bar) * take
        self.head_bar += (head_bar - self.head_bar) * take

    def _count_energy(self) -> None:
        """What each consumer takes, in the order of the meters."""
        taken, extruder, filter_ = self._taken_kw, self.extruder, self.filter
        pelletizing, pump = self.pelletizing, self.pump
        taken[0] = extruder.power_kw
        taken[1] = sum([zone.heat_kw for zone in extruder.zones])
        taken[2] = pump.power_kw + sum([zone.heat_kw for zone in pump.zones]) if pump is not None else 0.0
        taken[3] = sum([zone.heat_kw for zone in filter_.plates]) + filter_.block.heat_kw
        taken[4] = filter_.wiper.power_kw + filter_.hydraulics.pump_kw
        taken[5] = pelletizing.die.heat_kw
        taken[6] = pelletizing.knives.power_kw
        taken[7] = pelletizing.water.power_kw
        taken[8] = pelletizing.dryer.power_kw
        taken[9] = _KW_PER_A * extruder.vent.pump_current_a
        taken[10] = _DOSER_KW if self.doser.running else 0.0
        self.meters.step(self.dt_s, self.site, taken, pelletizing.water.cooling_water_m3_h)
