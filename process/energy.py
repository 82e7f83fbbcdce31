"""Energy for each kilogram, what of it reaches the melt, and what the melt must have taken up."""

from __future__ import annotations

from math import nan

PA_PER_BAR = 1e5
KJ_PER_KWH = 3600.0


def specific_kwh_kg(power_kw: float, flow_kg_h: float) -> float:
    """Power over throughput, kWh/kg; NaN without throughput.

    Example:
        >>> round(specific_kwh_kg(192, 780), 3), round(specific_kwh_kg(148, 780), 3)
        (0.246, 0.19)
    """
    return power_kw / flow_kg_h if flow_kg_h > 0 else nan


def shaft_kwh_kg(drive_kw: float, flow_kg_h: float, motor_share: float, gear_share: float) -> float:
    """What the screw's shaft brings into the melt, kWh/kg; NaN without throughput.

    Args:
        motor_share, gear_share: efficiencies, 0 to 1.

    Example:
        >>> round(shaft_kwh_kg(148, 780, 0.92, 0.95), 3)
        0.166
    """
    return specific_kwh_kg(drive_kw * motor_share * gear_share, flow_kg_h)


def enthalpy_kwh_kg(
    from_cel: float, to_cel: float, heat_capacity_kj_kg_k: float, melting_kj_kg: float
) -> float:
    """Heat that a kilogram takes up from solid to melt, kWh/kg; one mean heat capacity stands for both.

    Example:
        >>> round(enthalpy_kwh_kg(20, 222, 2.5, 100), 3)
        0.168
    """
    return (heat_capacity_kj_kg_k * (to_cel - from_cel) + melting_kj_kg) / KJ_PER_KWH


def adiabatic_rise_k(dp_bar: float, density_kg_m3: float, heat_capacity_kj_kg_k: float) -> float:
    """How much warmer a melt gets from the pressure that it loses; NaN without density or heat capacity.

    Example:
        >>> round(adiabatic_rise_k(40, 740, 2.5), 2), round(adiabatic_rise_k(95, 740, 2.5), 2)
        (2.16, 5.14)

    Source: first law for a throttled incompressible stream.
    """
    if not (density_kg_m3 > 0 and heat_capacity_kj_kg_k > 0):
        return nan
    return dp_bar * PA_PER_BAR / (density_kg_m3 * heat_capacity_kj_kg_k * 1000)
