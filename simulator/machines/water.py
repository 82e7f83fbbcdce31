"""The process water: tank, cooler, heater and ring.

Two volumes. Ring: m·c·dT/dt = ṁ·c·(T_tank − T) + heat of pellets, die and knives, solved exactly over a
step. Tank: what comes back less what goes out, pump friction, heater, cooler, hall, evaporation, make-up.
The ring stays full; what the pellets drag into the dryer and what evaporates is missing in the tank.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import exp

from simulator.machines.account import Account
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.water_control import WaterControl, WaterControlDesign
from simulator.machines.water_properties import (
    WATER_HEAT_KJ_KG_K,
    WATER_KG_M3,
    evaporation_kg_s,
    vapour_kj_kg,
)
from simulator.machines.water_pump import WaterPump, WaterPumpDesign

BOILS_CEL = 99.6
_STEAM_KJ_KG = 2675.5  # saturated steam at 1 bar against water of 0 Cel. Source: IAPWS formulation 1995.


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterDesign:
    """What the process-water circuit is built like.

    Attributes:
        tank_kg, full_kg: water in the tank at the start; at level 100 %.
        ring_kg: in ring, pipes and dewatering.
        setpoint_cel, flow_m3_h: what the operator begins with.
        cooler_kw_k: of the clean cooler with its valve open.
        fouled_share: what is left of it when fouled at level 1.
        heater_kw: of the tank.
        loss_kw_k: from the tank to the hall, without evaporation.
        surface_m2: of the tank.
        make_up_from, make_up_to, make_up_kg_s: levels between which water is let in, and how fast.
        cooling_water_m3_h: through the open cooler valve.
        screen_mm, screen_kg: water over the clean fines screen; fines that double it.

    The numbers are of this size of machine: common practice, no source.
    """

    tank_kg: float = 2940.0
    full_kg: float = 3750.0
    ring_kg: float = 60.0
    setpoint_cel: float = 42.0
    flow_m3_h: float = 22.0
    cooler_kw_k: float = 10.2
    fouled_share: float = 0.35
    heater_kw: float = 36.0
    loss_kw_k: float = 0.125
    surface_m2: float = 2.0
    make_up_from: float = 0.70
    make_up_to: float = 0.76
    make_up_kg_s: float = 0.4
    cooling_water_m3_h: float = 14.0
    screen_mm: float = 18.0
    screen_kg: float = 2.0
    pump: WaterPumpDesign = field(default_factory=WaterPumpDesign)
    control: WaterControlDesign = field(default_factory=WaterControlDesign)


class Water:
    """The circuit with its state.

    Attributes:
        on: whether the operator wants the pump to run.
        setpoint_cel, flow_setpoint_m3_h: supply temperature and flow, wanted.
        tank_cel, ring_cel: of the two volumes.
        pump, control: parts of it.
        fines_mm: water that stands over the fines screen.
        heat_kw: what the ring got from pellets, die and knives in the last step.
        cooler_kw, heater_kw, loss_kw: to the cooling water; electric; to the hall by surface and walls.
        evaporated_kg, made_up_kg, dragged_kg: since the start; the last into the dryer.
        account: water, with all heat and electric energy.
    """

    __slots__ = (
        "_filling",
        "account",
        "control",
        "cooler_kw",
        "design",
        "dragged_kg",
        "evaporated_kg",
        "fines_mm",
        "flow_setpoint_m3_h",
        "heat_kw",
        "heater_kw",
        "loss_kw",
        "made_up_kg",
        "on",
        "pump",
        "ring_cel",
        "setpoint_cel",
        "tank_cel",
        "tank_kg",
    )

    def __init__(self, design: WaterDesign, *, start_cel: float = 40.0) -> None:
        self.design = design
        self.on = False
        self.setpoint_cel = design.setpoint_cel
        self.flow_setpoint_m3_h = design.flow_m3_h
        self.tank_kg = design.tank_kg
        self.tank_cel = self.ring_cel = start_cel
        self.pump = WaterPump(design.pump)
        self.control = WaterControl(design.control)
        self._filling = False
        self.fines_mm = 0.0
        self.heat_kw = self.cooler_kw = self.heater_kw = self.loss_kw = 0.0
        self.evaporated_kg = self.made_up_kg = self.dragged_kg = 0.0
        self.account = Account()

    @property
    def supply_cel(self) -> float:
        """Water to the cutting chamber."""
        return self.tank_cel

    @property
    def return_cel(self) -> float:
        """Water after cutting."""
        return self.ring_cel

    @property
    def flow_m3_h(self) -> float:
        """Through the ring."""
        return self.pump.flow_m3_h

    @property
    def pressure_bar(self) -> float:
        """Before strainer and ring, gauge."""
        return self.pump.pressure_bar

    @property
    def valve(self) -> float:
        """Cooler valve, 0–1."""
        return self.control.valve

    @property
    def level_percent(self) -> float:
        """Of the tank."""
        return 100.0 * self.tank_kg / self.design.full_kg

    @property
    def share(self) -> float:
        """Flow as a share of the designed one."""
        return self.pump.flow_m3_h / self.design.pump.flow_m3_h

    @property
    def cooling_water_m3_h(self) -> float:
        """Through the cooler, from the hall's supply."""
        return self.design.cooling_water_m3_h * self.control.valve

    @property
    def power_kw(self) -> float:
        """Electric: pump and heater."""
        return self.pump.power_kw + self.heater_kw

    @property
    def held_kg(self) -> float:
        """Water in tank and ring."""
        return self.tank_kg + self.design.ring_kg

    @property
    def held_kj(self) -> float:
        """Heat in it."""
        return WATER_HEAT_KJ_KG_K * (self.tank_kg * self.tank_cel + self.design.ring_kg * self.ring_cel)

    def step(
        self, dt_s: float, site: Site, upsets: Upsets, pellets_kw: float, steel_kw: float, fines_kg: float
    ) -> None:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            pellets_kw: heat from the pellets.
            steel_kw: heat from die ring and knives.
            fines_kg: that lie on the fines screen.
        """
        design, pump = self.design, self.pump
        level = self.tank_kg / design.full_kg
        pump.step(
            dt_s, self.on, self.flow_setpoint_m3_h, level, upsets.strainer_block, upsets.water_pump_loss
        )
        self.fines_mm = design.screen_mm * self.share * (1.0 + fines_kg / design.screen_kg)
        self.heat_kw = pellets_kw + steel_kw
        self.account.took(0.0, (pellets_kw + steel_kw + pump.power_kw) * dt_s)
        self.account.gave(0.0, (pump.power_kw - pump.to_water_kw) * dt_s)
        # The pump stands before the supply probe: its friction warms the tank's side.
        back_kj = self._warm_ring(dt_s, self.heat_kw * dt_s) + pump.to_water_kw * dt_s
        self._keep_tank(dt_s, site, upsets, back_kj)

    def drag(self, water_kg: float) -> float:
        """Pellets drag ring water into the dryer that does not come back; its heat, kJ.

        The tank refills the ring.
        """
        dragged_kj = water_kg * WATER_HEAT_KJ_KG_K * self.ring_cel
        self.ring_cel += water_kg / self.design.ring_kg * (self.tank_cel - self.ring_cel)
        self.tank_kg -= water_kg
        self.dragged_kg += water_kg
        self.account.gave(water_kg, dragged_kj)
        return dragged_kj

    def _warm_ring(self, dt_s: float, heat_kj: float) -> float:
        """The ring's balance; heat that its water brings back to the tank, kJ, against 0 Cel."""
        mass_kg = self.design.ring_kg
        flow_kg_s = self.pump.flow_m3_h * WATER_KG_M3 / 3600.0
        before_cel = self.ring_cel
        capacity = mass_kg * WATER_HEAT_KJ_KG_K
        in_kj = flow_kg_s * dt_s * WATER_HEAT_KJ_KG_K * self.tank_cel
        if flow_kg_s > 1e-6:
            rest_cel = self.tank_cel + heat_kj / (dt_s * flow_kg_s * WATER_HEAT_KJ_KG_K)
            after_cel = rest_cel + (before_cel - rest_cel) * exp(-flow_kg_s * dt_s / mass_kg)
        else:
            in_kj = 0.0
            after_cel = before_cel + heat_kj / capacity
        out_kj = in_kj + heat_kj - capacity * (after_cel - before_cel)
        self.ring_cel = after_cel
        if after_cel > BOILS_CEL:
            # Steam leaves; the tank, which loses the mass, fills the ring up again.
            refill_kj_kg = WATER_HEAT_KJ_KG_K * self.tank_cel
            steam_kg = capacity * (after_cel - BOILS_CEL) / (_STEAM_KJ_KG - refill_kj_kg)
            self.ring_cel = BOILS_CEL
            self._give_steam(steam_kg)
        return out_kj - in_kj

    def _give_steam(self, steam_kg: float) -> None:
        self.tank_kg -= steam_kg
        self.evaporated_kg += steam_kg
        self.account.gave(steam_kg, steam_kg * _STEAM_KJ_KG)

    def _keep_tank(self, dt_s: float, site: Site, upsets: Upsets, back_kj: float) -> None:
        """The tank's balance: return, hall, cooler, heater, evaporation, make-up."""
        design, account = self.design, self.account
        tank_cel = self.tank_cel
        self.control.step(dt_s, tank_cel - self.setpoint_cel, upsets.cooler_valve_stuck)
        self.heater_kw = design.heater_kw * self.control.heater * site.mains_share * site.mains_share
        fouled = 1.0 - (1.0 - design.fouled_share) * upsets.cooler_fouling
        self.cooler_kw = (
            self.control.valve * design.cooler_kw_k * fouled * (tank_cel - site.cooling_water_cel)
        )
        dried_kg_s = evaporation_kg_s(design.surface_m2, tank_cel, site.ambient_cel)
        self.loss_kw = design.loss_kw_k * (tank_cel - site.ambient_cel)
        vapour_kj = dried_kg_s * dt_s * vapour_kj_kg(tank_cel)
        made_up_kg = self._make_up(dt_s)
        held_kj = self.tank_kg * WATER_HEAT_KJ_KG_K * tank_cel
        made_up_kj = made_up_kg * WATER_HEAT_KJ_KG_K * site.cooling_water_cel
        held_kj += back_kj + made_up_kj + self.heater_kw * dt_s
        held_kj -= (self.cooler_kw + self.loss_kw) * dt_s + vapour_kj
        self.tank_kg += made_up_kg - dried_kg_s * dt_s
        self.tank_cel = held_kj / (self.tank_kg * WATER_HEAT_KJ_KG_K)
        self.evaporated_kg += dried_kg_s * dt_s
        self.made_up_kg += made_up_kg
        account.took(made_up_kg, made_up_kj + self.heater_kw * dt_s)
        account.gave(dried_kg_s * dt_s, (self.cooler_kw + self.loss_kw) * dt_s + vapour_kj)
        if self.tank_cel > BOILS_CEL:
            capacity = self.tank_kg * WATER_HEAT_KJ_KG_K
            steam_kg = (
                capacity * (self.tank_cel - BOILS_CEL) / (_STEAM_KJ_KG - WATER_HEAT_KJ_KG_K * BOILS_CEL)
            )
            self.tank_cel = BOILS_CEL
            self._give_steam(steam_kg)

    def _make_up(self, dt_s: float) -> float:
        """The float valve lets water in between two levels."""
        design = self.design
        level = self.tank_kg / design.full_kg
        if level < design.make_up_from:
            self._filling = True
        elif level > design.make_up_to:
            self._filling = False
        return design.make_up_kg_s * dt_s if self._filling else 0.0
