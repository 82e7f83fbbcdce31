"""The simulated line as one: extruder, melt filter, pelletizer, hall; one step of one second.

Pure: no clock, no disk, no network. It knows nothing of rules or of what the trade computes from its tags,
so that the plant and its judges cannot share a mistake.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import exp, pi, sin, sqrt

from simulator.chance import Stream
from simulator.extruder import ZONES, Extruder, ExtruderDesign
from simulator.filter import FilterDesign, MeltFilter, WiperState
from simulator.melt import Polymer
from simulator.pelletizer import Pelletizer, PelletizerDesign
from simulator.upsets import Upsets

STEP_S = 1.0
HEAD_TRIP_BAR = 200.0
HALL_CEL = 20.0

_PRESSURE_TAKE = 1.0 - exp(-STEP_S / 1.5)
_OUTLET_LAG_S = 25.0
# Losses of the melt pipe at the reference state: after the screen, and before it.
_AFTER_BAR = 3.6
_BEFORE_BAR = 5.4
_DAY_S = 86_400.0
_BALE_TAU_S = 900.0
_BALE_SIGMA = 0.15
_FEED_TAU_S = 3600.0
_FEED_WALK_PER_ROOT_S = 0.003 / sqrt(60.0)
_BASE_LOAD_KW = 22.0
_DRYER_KW_PER_A = 0.6


@dataclass(frozen=True, slots=True)
class PlantDesign:
    """What the line is built like and what it is fed with.

    Attributes:
        polymer: the melt.
        dirt_share: dirt that can be filtered, as a share of the feed.
        scatter: whether dirt, feed, hall and heaters scatter.
        seed: of the scatter.
    """

    polymer: Polymer
    dirt_share: float = 0.014
    scatter: bool = True
    seed: int = 0
    extruder: ExtruderDesign = field(default_factory=ExtruderDesign)
    filter: FilterDesign = field(default_factory=FilterDesign)
    pelletizer: PelletizerDesign = field(default_factory=PelletizerDesign)


class Plant:
    """The line with its state.

    Attributes:
        second: whole seconds since the start.
        extruder, filter, pelletizer: its machines.
        die_bar, outlet_bar, inlet_bar, head_bar: melt pressures, gauge.
        outlet_cel: melt after the filter.
        tripped: whether the line stopped itself for a head pressure above ``HEAD_TRIP_BAR``.
        upsets: what is wrong with it at the moment.
        fed_kg: melt that reached the filter since the start (hidden truth).
    """

    def __init__(self, design: PlantDesign) -> None:
        self.design = design
        self.second = 0
        self.upsets = Upsets()
        seed = design.seed
        self._dirt = Stream(seed, "scatter: dirt")
        self._feed = Stream(seed, "scatter: feed")
        self._hall = Stream(seed, "scatter: hall")
        self._bale = 0.0
        self._drift = 0.0
        self._draught = 0.0
        self.ambient_cel = self._hall_cel()
        plates = design.filter.plates
        factors = self._loss_factors(ZONES + plates + 2)
        start = self.ambient_cel
        self.extruder = Extruder(
            design.extruder, design.polymer, start_cel=start, loss_factors=factors[:ZONES]
        )
        self.filter = MeltFilter(
            design.filter, start_cel=start, loss_factors=factors[ZONES : ZONES + plates + 1]
        )
        self.pelletizer = Pelletizer(design.pelletizer, start_cel=start, loss_factor=factors[-1])
        self.die_bar = 0.0
        self.outlet_bar = 0.0
        self.inlet_bar = 0.0
        self.head_bar = 0.0
        self.outlet_cel = start
        self.tripped = False
        self.line_kw = _BASE_LOAD_KW
        self.line_kwh = 0.0
        self.fed_kg = 0.0
        polymer = design.polymer
        self._reference_die_pa_s = polymer.viscosity_pa_s(
            polymer.reference_cel, design.pelletizer.die_shear_1_s
        )

    @property
    def flow_kg_h(self) -> float:
        """Melt that passes the filter."""
        return self.extruder.flow_kg_h

    @property
    def difference_bar(self) -> float:
        """Pressure difference over the screen, as the filter's own control sees it."""
        return self.inlet_bar - self.outlet_bar

    def heat(self, on: bool) -> None:
        """Switch all heater controllers."""
        for zone in (*self.extruder.zones, *self.filter.plates, self.filter.block, self.pelletizer.die):
            zone.enabled = on

    def run_screw(self, on: bool) -> None:
        """Switch screw, knives, water and dryer; switching on takes back a trip."""
        self.extruder.enabled = on
        self.pelletizer.running = on
        if on:
            self.tripped = False

    def step(self) -> None:
        """Go on by one second."""
        self._scatter()
        extruder = self.extruder
        for place, zone in enumerate(self.filter.plates, start=1):
            zone.power_factor = self.upsets.plate_power.get(place, 1.0)
        ambient = self.ambient_cel
        extruder.step(STEP_S, ambient, self._drift, self.head_bar)
        melt = extruder.leaving_cel
        self.outlet_cel += (melt - self.outlet_cel) * STEP_S / _OUTLET_LAG_S
        self.filter.step_heat(STEP_S, ambient, melt, extruder.melt_on_s)
        flow_kg_s = extruder.flow_kg_h / 3600.0
        self._press(flow_kg_s)
        dirt = self.design.dirt_share * self.upsets.dirt_factor * exp(self._bale)
        left_kg = self.filter.step_screen(
            STEP_S,
            flow_kg_s,
            dirt,
            self.difference_bar,
            self.upsets.rest_share,
            self.upsets.trigger_inhibited,
        )
        self.fed_kg += flow_kg_s * STEP_S
        product_kg_s = flow_kg_s - left_kg / STEP_S
        polymer = self.design.polymer
        taken = polymer.heat_kj_kg_k * (self.outlet_cel - 50.0) + polymer.melting_kj_kg
        self.pelletizer.step(STEP_S, ambient, self.outlet_cel, product_kg_s, extruder.flow_share, taken)
        if self.head_bar > HEAD_TRIP_BAR:
            self.tripped = True
            self.run_screw(False)
        self._count_energy()
        self.second += 1

    def _press(self, flow_kg_s: float) -> None:
        """Pressures follow flow and viscosity with a short lag."""
        design = self.design
        share = self.extruder.flow_share
        if share > 0.005:
            polymer = design.polymer
            bend = share ** (polymer.exponent - 1.0)
            before = polymer.temperature_factor(self.extruder.leaving_cel) * bend
            after = polymer.temperature_factor(self.outlet_cel) * bend
            screen_pa_s = (
                before * polymer.consistency_pa_s_n * design.filter.shear_1_s ** (polymer.exponent - 1.0)
            )
            difference = self.filter.difference_bar(screen_pa_s, flow_kg_s / polymer.density_kg_m3)
            die = design.pelletizer.die_bar * after * share
            # An open discharge takes some of the pressure behind the screen.
            dip = 0.03 * difference if self.filter.state is WiperState.WIPING else 0.0
            outlet = die + _AFTER_BAR * after * share - dip
            inlet = outlet + dip + difference
            head = inlet + _BEFORE_BAR * before * share
        else:
            die = outlet = inlet = head = 0.0
        self.die_bar += (die - self.die_bar) * _PRESSURE_TAKE
        self.outlet_bar += (outlet - self.outlet_bar) * _PRESSURE_TAKE
        self.inlet_bar += (inlet - self.inlet_bar) * _PRESSURE_TAKE
        self.head_bar += (head - self.head_bar) * _PRESSURE_TAKE

    def _scatter(self) -> None:
        if not self.design.scatter:
            return
        second = self.second
        self._bale += -self._bale * STEP_S / _BALE_TAU_S + _BALE_SIGMA * sqrt(
            2.0 * STEP_S / _BALE_TAU_S
        ) * self._dirt.at(second)
        self._drift += -self._drift * STEP_S / _FEED_TAU_S + _FEED_WALK_PER_ROOT_S * self._feed.at(second)
        self._draught += -self._draught * STEP_S / 600.0 + 0.015 * self._hall.at(second)
        self.ambient_cel = self._hall_cel() + self._draught

    def _hall_cel(self) -> float:
        if not self.design.scatter:
            return HALL_CEL
        return HALL_CEL + 2.0 * sin(2.0 * pi * self.second / _DAY_S)

    def _loss_factors(self, count: int) -> list[float]:
        if not self.design.scatter:
            return [1.0] * count
        made = Stream(self.design.seed, "scatter: heaters")
        return [1.0 + 0.04 * max(-2.0, min(2.0, made.at(k))) for k in range(count)]

    def _count_energy(self) -> None:
        filter_ = self.filter
        heaters = sum([z.heat_kw for z in self.extruder.zones]) + sum([z.heat_kw for z in filter_.plates])
        heaters += filter_.block.heat_kw + self.pelletizer.die.heat_kw
        dryer = _DRYER_KW_PER_A * self.pelletizer.dryer_a
        self.line_kw = _BASE_LOAD_KW + heaters + self.extruder.power_kw + dryer
        self.line_kwh += self.line_kw * STEP_S / 3600.0
