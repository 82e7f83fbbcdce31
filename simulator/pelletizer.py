"""The simulated hot-die-face pelletizer with its process water, dryer and product scale.

The numbers are of this size of machine: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from simulator.heaters import DIE_RING, HeatedZone

WATER_HEAT_KJ_KG_K = 4.18
COOLING_WATER_CEL = 16.0
_KNIFE_RAMP_MIN_S = 60.0


@dataclass(frozen=True, slots=True)
class PelletizerDesign:
    """What pelletizer and water circuit are built like.

    Attributes:
        die_bar: pressure before the die plate at the reference state.
        die_shear_1_s: shear rate in the die at the reference flow.
        die_water_kw_k: from the die plate to the water.
        knife_reference_bar: contact pressure at which the knife torque is quoted.
        water_kg: in the circuit.
        water_flow_m3_h: to the cutting chamber.
        cooler_kw_k, tank_loss_kw_k, tank_heater_kw: cooler, loss to the hall, heater of the tank.
        scale_step_kg: of the product scale.
    """

    die_bar: float = 61.0
    die_shear_1_s: float = 900.0
    die_water_kw_k: float = 0.014
    knife_reference_bar: float = 3.2
    water_kg: float = 3000.0
    water_flow_m3_h: float = 22.0
    cooler_kw_k: float = 12.0
    tank_loss_kw_k: float = 0.18
    tank_heater_kw: float = 36.0
    scale_step_kg: float = 0.5


class Pelletizer:
    """Die, knives, water, dryer and scale with their state.

    Attributes:
        die: the heated die ring.
        knife_setpoint_min, knife_min: knife speed, wanted and real.
        knife_setpoint_bar, knife_bar: contact pressure, wanted and real.
        water_cel, water_setpoint_cel, return_cel: process water.
        valve: cooler valve, 0–1.
        product_kg: what reached the product scale.
    """

    def __init__(self, design: PelletizerDesign, *, start_cel: float, loss_factor: float) -> None:
        self.design = design
        self.die = HeatedZone(DIE_RING, start_cel=start_cel, setpoint_cel=225.0, loss_factor=loss_factor)
        self.running = False
        self.knife_setpoint_min = 0.0
        self.knife_min = 0.0
        self.knife_setpoint_bar = 3.2
        self.knife_bar = 0.0
        self.knife_torque_percent = 0.0
        self.water_setpoint_cel = 42.0
        # The tank is kept warm overnight.
        self.water_cel = 40.0
        self.return_cel = 40.0
        self.water_m3_h = 0.0
        self.valve = 0.0
        self.dryer_a = 0.0
        self.product_kg = 0.0
        self._valve_integral = 0.0

    @property
    def scale_kg(self) -> float:
        """What the product scale shows."""
        step = self.design.scale_step_kg
        return int(self.product_kg / step + 1e-9) * step

    def step(
        self,
        dt_s: float,
        ambient_cel: float,
        melt_cel: float,
        product_kg_s: float,
        flow_share: float,
        pellet_kj_kg: float,
    ) -> None:
        """Go on by one step.

        Args:
            product_kg_s: melt that reaches the die.
            flow_share: of the reference flow.
            pellet_kj_kg: heat that the water takes from a kilogram of melt.
        """
        design = self.design
        flowing = flow_share > 0.01
        from_melt = DIE_RING.melt_kw_k * (melt_cel - self.die.true_cel) if flowing else 0.0
        to_water = design.die_water_kw_k * (self.water_cel - self.die.true_cel) if self.running else 0.0
        self.die.step(dt_s, ambient_cel, from_melt + to_water)
        self._cut(dt_s, flow_share)
        self._cool(dt_s, ambient_cel, product_kg_s * pellet_kj_kg - to_water)
        idle_a = 9.5 if self.running else 0.0
        self.dryer_a += (idle_a + 5.5 * flow_share - self.dryer_a) * dt_s / 8.0
        self.product_kg += product_kg_s * dt_s

    def _cut(self, dt_s: float, flow_share: float) -> None:
        wanted = self.knife_setpoint_min if self.running else 0.0
        change = wanted - self.knife_min
        limit = _KNIFE_RAMP_MIN_S * dt_s
        self.knife_min += max(-limit, min(limit, change))
        pressure = self.knife_setpoint_bar if self.running else 0.0
        self.knife_bar += (pressure - self.knife_bar) * dt_s / 5.0
        if self.knife_min < 1.0:
            self.knife_torque_percent = 0.0
        else:
            contact = self.knife_bar / self.design.knife_reference_bar
            self.knife_torque_percent = 30.0 * flow_share + 12.0 * contact

    def _cool(self, dt_s: float, ambient_cel: float, heat_kw: float) -> None:
        design = self.design
        error = self.water_cel - self.water_setpoint_cel
        wanted = 0.3 + 0.12 * error + self._valve_integral
        self.valve = min(1.0, max(0.0, wanted))
        if 0.0 < wanted < 1.0:
            self._valve_integral += 0.12 * error * dt_s / 1200.0
        heater_kw = design.tank_heater_kw * min(1.0, max(0.0, -error - 0.5))
        flow_kw = (
            heat_kw
            + heater_kw
            - self.valve * design.cooler_kw_k * (self.water_cel - COOLING_WATER_CEL)
            - design.tank_loss_kw_k * (self.water_cel - ambient_cel)
        )
        self.water_cel += flow_kw * dt_s / (design.water_kg * WATER_HEAT_KJ_KG_K)
        wanted_m3_h = design.water_flow_m3_h if self.running else 0.0
        self.water_m3_h += (wanted_m3_h - self.water_m3_h) * dt_s / 4.0
        stream_kw_k = self.water_m3_h / 3.6 * WATER_HEAT_KJ_KG_K
        warmer = self.water_cel + (heat_kw / stream_kw_k if stream_kw_k > 5.0 else 0.0)
        self.return_cel += (warmer - self.return_cel) * dt_s / 10.0
