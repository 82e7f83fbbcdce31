"""Heated zones: a lump of steel with a heater, a lagging thermocouple and a controller.

Lumped energy balance, derived here:
C·dT/dt = u·P − P_cool − UA·(T − T_amb) + G·Σ(T_neighbour − T) + h·(T_melt − T) + what else warms it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ZoneDesign:
    """What a heated zone is built like; powers in kW, heat capacity in kJ/K, conductances in kW/K.

    Attributes:
        capacity_kj_k: heat capacity of the steel.
        loss_kw_k: to the hall.
        neighbour_kw_k: to each neighbour.
        melt_kw_k: to the melt while it flows.
        power_kw: of the heater when fully on.
        current_a: heater current while on.
        cool_kw: of the cooling when fully on; 0: none.
        gain_per_k, reset_s, rate_s: of the controller; its rate part looks at the measured value.

    The numbers are of this size of machine: common practice, no source.
    """

    capacity_kj_k: float
    loss_kw_k: float
    neighbour_kw_k: float
    melt_kw_k: float
    power_kw: float
    current_a: float
    cool_kw: float = 0.0
    gain_per_k: float = 0.06
    reset_s: float = 400.0
    rate_s: float = 60.0


BARREL_ZONE = ZoneDesign(60.0, 0.009, 0.012, 0.014, 9.0, 22.5, cool_kw=6.0)
FILTER_PLATE = ZoneDesign(27.0, 0.004, 0.006, 0.008, 2.4, 6.0)
DIE_RING = ZoneDesign(30.0, 0.008, 0.0, 0.015, 7.0, 17.5)
DISCHARGE_BLOCK = ZoneDesign(10.0, 0.0025, 0.0, 0.003, 1.2, 3.0)

SENSOR_LAG_S = 12.0
_INTEGRAL_LOW = -0.3
_INTEGRAL_HIGH = 1.0
_COOLING_STARTS_K = 2.0
_COOLING_FULL_K = 8.0


class HeatedZone:
    """One zone with its state. ``true_cel`` is hidden truth: no tag shows it.

    Attributes:
        true_cel, sensed_cel: the steel, and what the thermocouple says of it.
        setpoint_cel: what the controller aims at.
        duty: heater on, 0–1; ``cooling``: cooler on, 0–1.
        enabled: whether the controller works.
        taken_out: whether the operator has taken this zone out of use.
        power_factor: what is left of the heater, 1 when it is whole.
    """

    __slots__ = (
        "cooling",
        "design",
        "duty",
        "enabled",
        "heat_kw",
        "integral",
        "loss_kw_k",
        "power_factor",
        "sensed_cel",
        "setpoint_cel",
        "taken_out",
        "true_cel",
    )

    def __init__(
        self, design: ZoneDesign, *, start_cel: float, setpoint_cel: float, loss_factor: float = 1.0
    ) -> None:
        self.design = design
        self.loss_kw_k = design.loss_kw_k * loss_factor
        self.true_cel = start_cel
        self.sensed_cel = start_cel
        self.setpoint_cel = setpoint_cel
        self.enabled = False
        self.taken_out = False
        self.duty = 0.0
        self.cooling = 0.0
        self.integral = 0.0
        self.power_factor = 1.0
        self.heat_kw = 0.0

    @property
    def output_percent(self) -> float:
        """What the controller shows: heating positive, cooling negative."""
        return -100.0 * self.cooling if self.cooling > 0.0 else 100.0 * self.duty

    @property
    def current_a(self) -> float:
        """Heater current while on; 0 when it is not switched on."""
        return self.design.current_a * self.power_factor if self.duty > 0.01 else 0.0

    def step(self, dt_s: float, ambient_cel: float, gained_kw: float) -> None:
        """Go on by one step; ``gained_kw`` is all heat but the heater's, the cooler's and the hall's."""
        self._control(dt_s)
        self.heat_kw = self.duty * self.design.power_kw * self.power_factor
        flow_kw = (
            self.heat_kw
            - self.cooling * self.design.cool_kw
            - self.loss_kw_k * (self.true_cel - ambient_cel)
            + gained_kw
        )
        self.true_cel += flow_kw * dt_s / self.design.capacity_kj_k

    def _control(self, dt_s: float) -> None:
        before = self.sensed_cel
        sensed = before + (self.true_cel - before) * dt_s / SENSOR_LAG_S
        self.sensed_cel = sensed
        if not self.enabled or self.taken_out:
            self.duty = self.cooling = self.integral = 0.0
            return
        design = self.design
        gain = design.gain_per_k
        error = self.setpoint_cel - sensed
        wanted = gain * error + self.integral - gain * design.rate_s * (sensed - before) / dt_s
        self.duty = 0.0 if wanted < 0.0 else 1.0 if wanted > 1.0 else wanted
        # Conditional integration: a saturated output must not wind the integral further up or down.
        if not ((wanted > 1.0 and error > 0.0) or (wanted < 0.0 and error < 0.0)):
            moved = self.integral + gain * error * dt_s / design.reset_s
            self.integral = min(_INTEGRAL_HIGH, max(_INTEGRAL_LOW, moved))
        self.cooling = 0.0
        if design.cool_kw > 0.0 and error < -_COOLING_STARTS_K:
            self.cooling = min(1.0, (-error - _COOLING_STARTS_K) / (_COOLING_FULL_K - _COOLING_STARTS_K))


def step_ring(
    zones: Sequence[HeatedZone], dt_s: float, ambient_cel: float, melt_cel: float, melt_kw_k: float
) -> None:
    """Go on by one step with zones that sit in a ring, each touching two others."""
    temps = [zone.true_cel for zone in zones]
    count = len(temps)
    coupling = zones[0].design.neighbour_kw_k
    for place, zone in enumerate(zones):
        own = temps[place]
        gained = coupling * (temps[place - 1] + temps[(place + 1) % count] - 2.0 * own)
        zone.step(dt_s, ambient_cel, gained + melt_kw_k * (melt_cel - own))


def step_row(
    zones: Sequence[HeatedZone], dt_s: float, ambient_cel: float, gained_kw: Sequence[float]
) -> None:
    """Go on by one step with zones in a row; ``gained_kw``: what each gets from the melt, shape (zones,)."""
    temps = [zone.true_cel for zone in zones]
    coupling = zones[0].design.neighbour_kw_k
    last = len(temps) - 1
    for place, zone in enumerate(zones):
        own = temps[place]
        before = temps[place - 1] if place > 0 else own
        after = temps[place + 1] if place < last else own
        zone.step(dt_s, ambient_cel, gained_kw[place] + coupling * (before + after - 2.0 * own))
