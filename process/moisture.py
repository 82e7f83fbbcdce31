"""What water in the feed becomes in the vents, and what a dryer leaves on pellets."""

from __future__ import annotations

from math import exp, nan

from process.rheology import GAS_CONSTANT_J_MOL_K, ZERO_CEL_K

_WATER_KG_MOL = 0.018015
_LIQUID_KJ_KG_K = 4.18
_EVAPORATION_KJ_KG = 2257.0
"""At 100 Cel. Source: steam tables, from memory."""


def water_kg_h(moisture_percent: float, flow_kg_h: float) -> float:
    """Water that comes with the feed.

    Example:
        >>> round(water_kg_h(1.2, 780), 2)
        9.36
    """
    return moisture_percent / 100 * flow_kg_h


def steam_m3_h(water: float, pressure_bar_absolute: float, temp_cel: float) -> float:
    """Volume of so many kg/h of steam, as an ideal gas; NaN without pressure.

    Example:
        >>> round(steam_m3_h(9.36, 1.013, 100), 1), round(steam_m3_h(9.36, 0.060, 180), -1)
        (15.9, 330.0)
    """
    if not pressure_bar_absolute > 0:
        return nan
    mol_h = water / _WATER_KG_MOL
    return mol_h * GAS_CONSTANT_J_MOL_K * (temp_cel + ZERO_CEL_K) / (pressure_bar_absolute * 1e5)


def evaporation_kw(water: float, from_cel: float = 20.0) -> float:
    """Heat that turns so many kg/h of water into steam of 100 Cel.

    Example:
        >>> round(evaporation_kw(9.36), 2)
        6.74
    """
    return water / 3600 * (_LIQUID_KJ_KG_K * (100 - from_cel) + _EVAPORATION_KJ_KG)


def dried_percent(start: float, end: float, rate_per_s: float, after_s: float) -> float:
    """Surface water after some time in a dryer, %, falling from ``start`` towards ``end``.

    Example:
        >>> round(dried_percent(15, 0.04, 0.9, 6.5), 3)
        0.083

    Source: first-order drying in the falling-rate period.
    """
    return end + (start - end) * exp(-rate_per_s * after_s)
