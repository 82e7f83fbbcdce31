"""What heated zones are built like: barrel, filter plate, die ring, discharge block, melt pump."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneDesign:
    """What a heated zone is built like; powers in kW, heat capacities in kJ/K, conductances in kW/K.

    Attributes:
        capacity_kj_k: of steel and heater together.
        element_kj_k: the heater's part of it.
        element_kw_k: from heater to steel.
        loss_kw_k: from steel to the hall.
        neighbour_kw_k: to each neighbour.
        melt_kw_k: to the melt while it flows; the machine that owns the zone applies it.
        power_kw: of the heater when on at nominal voltage.
        nominal_a: heater current then.
        cool_kw_k: of the cooling blower when fully on, to the hall; 0: none.
        probe_lag_s: of the thermocouple.
        period_s: of the heater's switching.
        gain_per_k, reset_s, rate_s: of the controller; its rate part looks at the measured value.
        limit_cel: where the independent limiter cuts the heater, whatever the controller wants.

    The numbers are of this size of machine: common practice, no source.
    """

    capacity_kj_k: float
    element_kj_k: float
    element_kw_k: float
    loss_kw_k: float
    neighbour_kw_k: float
    melt_kw_k: float
    power_kw: float
    nominal_a: float
    cool_kw_k: float = 0.0
    probe_lag_s: float = 12.0
    period_s: float = 10.0
    gain_per_k: float = 0.06
    reset_s: float = 400.0
    rate_s: float = 60.0
    limit_cel: float = 320.0


BARREL_ZONE = ZoneDesign(
    capacity_kj_k=60.0,
    element_kj_k=3.5,
    element_kw_k=0.14,
    loss_kw_k=0.009,
    neighbour_kw_k=0.012,
    melt_kw_k=0.014,
    power_kw=9.0,
    nominal_a=22.5,
    cool_kw_k=6.0 / 185.0,
)
FILTER_PLATE = ZoneDesign(
    capacity_kj_k=26.2,
    element_kj_k=1.2,
    element_kw_k=0.06,
    loss_kw_k=0.004,
    neighbour_kw_k=0.006,
    melt_kw_k=0.008,
    power_kw=2.4,
    nominal_a=6.0,
)
DIE_RING = ZoneDesign(
    capacity_kj_k=30.0,
    element_kj_k=2.4,
    element_kw_k=0.14,
    loss_kw_k=0.008,
    neighbour_kw_k=0.012,
    melt_kw_k=0.015,
    power_kw=7.0,
    nominal_a=17.5,
)
DISCHARGE_BLOCK = ZoneDesign(
    capacity_kj_k=10.0,
    element_kj_k=0.6,
    element_kw_k=0.03,
    loss_kw_k=0.0025,
    neighbour_kw_k=0.0,
    melt_kw_k=0.003,
    power_kw=1.2,
    nominal_a=3.0,
)
PUMP_ZONE = ZoneDesign(
    capacity_kj_k=34.0,
    element_kj_k=1.6,
    element_kw_k=0.08,
    loss_kw_k=0.005,
    neighbour_kw_k=0.02,
    melt_kw_k=0.012,
    power_kw=3.2,
    nominal_a=8.0,
)
