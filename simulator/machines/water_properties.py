"""What water and its vapour hold and how fast an open surface dries: constants and three short formulas."""

from __future__ import annotations

from math import exp

# At 40 Cel and 1 bar. Source: IAPWS formulation 1995, as tabulated by NIST.
WATER_KG_M3 = 992.2
WATER_HEAT_KJ_KG_K = 4.179

_VAPOUR_AT_ZERO_KJ_KG = 2501.0
_VAPOUR_HEAT_KJ_KG_K = 1.86
# Still air over an open surface. Source: Carrier (1918), W·Y = A·(p_w − p_a)·0.089 with p in kPa, Y in kJ/kg.
_STILL_AIR_KW_M2_KPA = 0.089


def saturation_kpa(cel: float) -> float:
    """Vapour pressure of water.

    Source: Magnus formula with the coefficients of Alduchov and Eskridge (1996): within 0.5 % up to 60 Cel,
    1.5 % too high at 80 Cel.
    """
    return 0.61094 * exp(17.625 * cel / (cel + 243.04))


def vapour_kj_kg(cel: float) -> float:
    """What a kilogram of vapour holds, against liquid water of 0 Cel.

    Source: heat of evaporation at 0 Cel and heat of dilute vapour, as usual for moist air.
    """
    return _VAPOUR_AT_ZERO_KJ_KG + _VAPOUR_HEAT_KJ_KG_K * cel


def evaporation_kg_s(area_m2: float, water_cel: float, hall_cel: float) -> float:
    """How much an open surface gives to still air, never negative.

    The air just over a warm tank counts as saturated at the hall's temperature.
    Source: Carrier (1918), without the part of moving air.
    """
    driving_kpa = saturation_kpa(water_cel) - saturation_kpa(hall_cel)
    if driving_kpa <= 0.0:
        return 0.0
    latent_kj_kg = vapour_kj_kg(water_cel) - WATER_HEAT_KJ_KG_K * water_cel
    return area_m2 * driving_kpa * _STILL_AIR_KW_M2_KPA / latent_kj_kg
