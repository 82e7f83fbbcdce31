"""What a melt flow rate tells of viscosity: one load gives a ratio, two loads give a power law.

The numbers are apparent: neither the entrance loss of the short die nor the shape of the flow is taken off,
so they serve for ratios and are no viscosity measurement.
"""

from __future__ import annotations

from math import log, nan, pi

DIE_BORE_MM, DIE_LENGTH_MM = 2.095, 8.000
"""Source: ISO 1133-1."""
BARREL_BORE_MM = 9.5504
"""Source: ISO 1133-1, from memory; with the piston head's 9.474 mm stresses come out 1.6 % higher."""
STANDARD_GRAVITY_M_S2 = 9.80665


def wall_stress_pa(load_kg: float) -> float:
    """Shear stress at the die wall under a load; it depends on nothing else.

    Example:
        >>> round(wall_stress_pa(2.16))
        19359

    Source: geometry of ISO 1133-1; stress = pressure times bore over four lengths.
    """
    pressure_pa = load_kg * STANDARD_GRAVITY_M_S2 / (pi / 4 * (BARREL_BORE_MM / 1000) ** 2)
    return pressure_pa * DIE_BORE_MM / (4 * DIE_LENGTH_MM)


def wall_shear_rate_per_s(mfr_g_10min: float, melt_density_kg_m3: float) -> float:
    """Apparent shear rate at the die wall; NaN without melt density.

    Example:
        >>> round(wall_shear_rate_per_s(1.1, 766), 3)
        2.651

    Source: Hagen-Poiseuille, 32 Q over pi D^3, with the geometry of ISO 1133-1.
    """
    if not melt_density_kg_m3 > 0:
        return nan
    flow_m3_s = mfr_g_10min / 1000 / 600 / melt_density_kg_m3
    return 32 * flow_m3_s / (pi * (DIE_BORE_MM / 1000) ** 3)


def apparent_viscosity_pa_s(mfr_g_10min: float, load_kg: float, melt_density_kg_m3: float) -> float:
    """Apparent viscosity at the shear rate of the test; NaN without flow.

    Example:
        >>> round(apparent_viscosity_pa_s(1.1, 2.16, 766), -1)
        7300.0
    """
    rate = wall_shear_rate_per_s(mfr_g_10min, melt_density_kg_m3)
    return wall_stress_pa(load_kg) / rate if rate > 0 else nan


def exponent_of_two_loads(mfr_1: float, load_1_kg: float, mfr_2: float, load_2_kg: float) -> float:
    """Power-law exponent n from two flow rates at one temperature; NaN when they do not tell two points.

    Example:
        >>> round(exponent_of_two_loads(1.1, 2.16, 4.9, 5.0), 4)
        0.5618
    """
    if not (mfr_1 > 0 and mfr_2 > 0 and load_1_kg > 0 and load_2_kg > 0) or mfr_1 == mfr_2:
        return nan
    return log(load_2_kg / load_1_kg) / log(mfr_2 / mfr_1)


def consistency_pa_s_n(
    mfr_g_10min: float, load_kg: float, melt_density_kg_m3: float, exponent: float
) -> float:
    """K of the power law through the test's point, Pa.s^n, at the test's temperature; NaN without flow.

    Example:
        >>> round(consistency_pa_s_n(1.1, 2.16, 766, 0.5618), -1)
        11190.0
    """
    rate = wall_shear_rate_per_s(mfr_g_10min, melt_density_kg_m3)
    return float(wall_stress_pa(load_kg) / rate**exponent) if rate > 0 else nan
