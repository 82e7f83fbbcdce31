"""The simulated melt filter: heater plates, screen with cake, wiper, cleaning trigger, discharge on a scale.

Pressure difference: ΔP = η·u·(R_clean + R_held for good + R_cake), u = Q/(ρ·A).
Source: Darcy's law with resistances in series, as in cake filtration after Ruth. The numbers are common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from simulator.heaters import DISCHARGE_BLOCK, FILTER_PLATE, HeatedZone, step_ring

# What an ordinary cleaning presses into the holes for good, as a share of the cake.
ORDINARY_REST = 0.006
PA_PER_BAR = 1.0e5
# Melt that meets the steel for the first time is still solid in places and takes more heat.
START_CONTACT_FACTOR = 3.5
START_CONTACT_S = 300.0


class WiperState(IntEnum):
    """What the wiper does; the numbers are those of the tag's code table."""

    PARKED = 0
    WIPING = 1


class Trigger(IntEnum):
    """What started the last cleaning; the numbers are those of the tag's code table."""

    NONE = 0
    PRESSURE_DIFFERENCE = 1
    CLOCK = 3
    BY_HAND = 4


@dataclass(frozen=True, slots=True)
class FilterDesign:
    """What the filter is built like.

    Attributes:
        plates: heater plates round the housing.
        area_m2: free-standing screen area.
        clean_1_m: resistance of the clean screen.
        cake_m_kg: resistance of the cake a kilogram of held dirt and square metre.
        retention: share of the dirt that the screen holds.
        shear_1_s: shear rate in the screen at the reference flow.
        wipe_s, wipe_revs: how long a cleaning takes, and its turns.
        effectiveness: share of the cake that a cleaning takes away.
        carry_kg: melt that leaves with the dirt of one cleaning.
        trigger_held_s: how long the pressure difference must be above the trigger.
        scale_step_kg, scale_delay_s: of the discharge scale.

    Source: derived here for a screen of 1178 cm²; common practice, no source.
    """

    plates: int = 8
    area_m2: float = 0.1178
    clean_1_m: float = 4.1e6
    cake_m_kg: float = 9.8e5
    retention: float = 0.78
    shear_1_s: float = 600.0
    wipe_s: float = 22.0
    wipe_revs: float = 2.0
    effectiveness: float = 0.94
    carry_kg: float = 0.55
    trigger_held_s: float = 4.0
    scale_step_kg: float = 0.02
    scale_delay_s: int = 5


class MeltFilter:
    """The filter with its state.

    Attributes:
        plates, block: the heated zones of the housing and of the discharge.
        cake_1_m, lasting_1_m: resistance of the cake, and of what no cleaning takes away.
        held_kg, discharged_kg: dirt on the screen; all that left through the discharge (hidden truth).
        wipes: cleanings since the screen change.
        trigger_bar, longest_s: set-points of the cleaning.
    """

    def __init__(self, design: FilterDesign, *, start_cel: float, loss_factors: list[float]) -> None:
        self.design = design
        self.plates = [
            HeatedZone(FILTER_PLATE, start_cel=start_cel, setpoint_cel=220.0, loss_factor=factor)
            for factor in loss_factors[: design.plates]
        ]
        self.block = HeatedZone(
            DISCHARGE_BLOCK, start_cel=start_cel, setpoint_cel=215.0, loss_factor=loss_factors[design.plates]
        )
        self.cake_1_m = 0.0
        self.lasting_1_m = 0.0
        self.held_kg = 0.0
        self.discharged_kg = 0.0
        self.wipes = 0
        self.trigger_bar = 45.0
        self.longest_s = 540.0
        self.last_trigger = Trigger.NONE
        self.state = WiperState.PARKED
        self.wiping_s = 0.0
        self.since_wipe_s = 0.0
        self.above_s = 0.0
        self.trigger_unheard = False
        self.wiped_with_rest = False
        self._cake_at_start = 0.0
        self._held_at_start = 0.0
        self._by_hand = False
        self._scale = [0.0] * (design.scale_delay_s + 1)
        self._scale_place = 0

    @property
    def resistance_1_m(self) -> float:
        """What the melt has to pass."""
        return self.design.clean_1_m + self.lasting_1_m + self.cake_1_m

    def difference_bar(self, viscosity_pa_s: float, volume_m3_s: float) -> float:
        """Pressure difference over the screen in a steady flow."""
        return viscosity_pa_s * volume_m3_s / self.design.area_m2 * self.resistance_1_m / PA_PER_BAR

    @property
    def angle_deg(self) -> float:
        """Where the wiper stands, 0 ≤ angle < 360."""
        if self.state is WiperState.PARKED:
            return 0.0
        return 360.0 * self.design.wipe_revs * (self.wiping_s / self.design.wipe_s) % 360.0

    @property
    def speed_min(self) -> float:
        """Wiper speed, turns a minute."""
        if self.state is WiperState.PARKED:
            return 0.0
        return 60.0 * self.design.wipe_revs / self.design.wipe_s

    @property
    def torque_percent(self) -> float:
        """Torque of the wiper's drive: cake, cold sectors and the start weigh on it."""
        if self.state is WiperState.PARKED:
            return 0.0
        coldest_k = max(zone.setpoint_cel - zone.true_cel for zone in self.plates)
        inrush = 15.0 if self.wiping_s < 1.5 else 0.0
        return 27.0 + 22.0 * self.cake_1_m / 5.0e6 + 0.15 * max(0.0, coldest_k) + inrush

    @property
    def scale_kg(self) -> float:
        """What the discharge scale shows."""
        step = self.design.scale_step_kg
        late = self._scale[(self._scale_place + 1) % len(self._scale)]
        return round(int(late / step + 1e-9) * step, 2)

    def ask_for_wipe(self) -> None:
        """The operator presses the button for one cleaning."""
        self._by_hand = True

    def step_heat(self, dt_s: float, ambient_cel: float, melt_cel: float, melt_on_s: float) -> None:
        """Heat balance of plates and discharge block; ``melt_on_s`` < 0: no melt flows."""
        contact = 0.0
        if melt_on_s >= 0.0:
            contact = FILTER_PLATE.melt_kw_k * (START_CONTACT_FACTOR if melt_on_s < START_CONTACT_S else 1.0)
        step_ring(self.plates, dt_s, ambient_cel, melt_cel, contact)
        to_block = DISCHARGE_BLOCK.melt_kw_k * (melt_cel - self.block.true_cel) if melt_on_s >= 0.0 else 0.0
        self.block.step(dt_s, ambient_cel, to_block)

    def step_screen(
        self,
        dt_s: float,
        flow_kg_s: float,
        dirt_share: float,
        dp_bar: float,
        rest_share: float,
        inhibited: bool,
    ) -> float:
        """Dirt arrives, the trigger listens, the wiper wipes.

        Returns:
            what left the melt stream in this step (held dirt and carried melt), kg.
        """
        design = self.design
        caught_kg = dirt_share * design.retention * flow_kg_s * dt_s
        self.held_kg += caught_kg
        self.cake_1_m += design.cake_m_kg * caught_kg / design.area_m2
        self.trigger_unheard = self.wiped_with_rest = False
        carried_kg = 0.0
        if self.state is WiperState.PARKED:
            self._listen(dt_s, flow_kg_s > 0.005, dp_bar, inhibited)
        else:
            carried_kg = self._wipe(dt_s, flow_kg_s > 0.005, rest_share)
        self._scale_place = (self._scale_place + 1) % len(self._scale)
        self._scale[self._scale_place] = self.discharged_kg
        return caught_kg + carried_kg

    def _listen(self, dt_s: float, running: bool, dp_bar: float, inhibited: bool) -> None:
        self.since_wipe_s = self.since_wipe_s + dt_s if running else 0.0
        self.above_s = self.above_s + dt_s if running and dp_bar > self.trigger_bar else 0.0
        if self._by_hand:
            self._start(Trigger.BY_HAND)
            return
        reason = Trigger.NONE
        if self.above_s >= self.design.trigger_held_s:
            reason = Trigger.PRESSURE_DIFFERENCE
        elif self.since_wipe_s >= self.longest_s:
            reason = Trigger.CLOCK
        if reason is Trigger.NONE:
            return
        if inhibited:
            self.trigger_unheard = True
            return
        self._start(reason)

    def _start(self, reason: Trigger) -> None:
        self._by_hand = False
        self.last_trigger = reason
        self.state = WiperState.WIPING
        self.wiping_s = 0.0
        self._cake_at_start = self.cake_1_m
        self._held_at_start = self.held_kg

    def _wipe(self, dt_s: float, running: bool, rest_share: float) -> float:
        design = self.design
        share = dt_s / design.wipe_s
        taken = min(design.effectiveness, 1.0 - rest_share) * share
        self.cake_1_m = max(0.0, self.cake_1_m - (taken + rest_share * share) * self._cake_at_start)
        self.lasting_1_m += rest_share * share * self._cake_at_start
        dirt_kg = min(self.held_kg, taken * self._held_at_start)
        carried_kg = design.carry_kg * share if running else 0.0
        self.held_kg -= dirt_kg
        self.discharged_kg += dirt_kg + carried_kg
        self.wiping_s += dt_s
        if self.wiping_s >= design.wipe_s - 1e-9:
            self.state = WiperState.PARKED
            self.wipes += 1
            self.since_wipe_s = self.above_s = 0.0
            self.wiped_with_rest = rest_share > ORDINARY_REST
        return carried_kg
