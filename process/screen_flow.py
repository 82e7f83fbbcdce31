"""What a screen has to let through: its area, the flow on each square centimetre, the resistance it shows."""

from __future__ import annotations

from math import nan, pi

CM2_PER_M2 = 1e4
PA_PER_BAR = 1e5


def circle_cm2(diameter_mm: float) -> float:
    """Area of a round screen; NaN when the diameter is not above zero.

    Example:
        >>> round(circle_cm2(420))
        1385
    """
    return pi / 4 * diameter_mm**2 / 100 if diameter_mm > 0 else nan


def ring_cm2(outer_mm: float, inner_mm: float) -> float:
    """Area of a screen that is a ring, as where a wiper shaft goes through; NaN when it is none.

    Example:
        >>> round(ring_cm2(400, 100))
        1178
    """
    return pi / 4 * (outer_mm**2 - inner_mm**2) / 100 if 0 <= inner_mm < outer_mm else nan


def specific_kg_h_cm2(flow_kg_h: float, area_cm2: float) -> float:
    """Throughput on each square centimetre; NaN without an area.

    Example:
        >>> round(specific_kg_h_cm2(780, 1178), 3)
        0.662
    """
    return flow_kg_h / area_cm2 if area_cm2 > 0 else nan


def hole_shear_rate_per_s(
    flow_kg_h: float, melt_density_kg_m3: float, area_cm2: float, open_share: float, hole_um: float
) -> float:
    """Apparent shear rate at the wall of a screen's holes, 8 v/d; NaN when a size is not above zero.

    Example:
        >>> round(hole_shear_rate_per_s(780, 740, 1178, 0.10, 110), -1)
        1810.0
    """
    if not (melt_density_kg_m3 > 0 and area_cm2 > 0 and open_share > 0 and hole_um > 0):
        return nan
    velocity_m_s = flow_kg_h / 3600 / (melt_density_kg_m3 * area_cm2 / CM2_PER_M2 * open_share)
    return 8 * velocity_m_s / (hole_um * 1e-6)


def resistance_per_m(
    dp_bar: float, area_cm2: float, viscosity_pa_s: float, flow_kg_h: float, melt_density_kg_m3: float
) -> float:
    """R = dp A / (viscosity, volume flow), 1/m; NaN without flow, viscosity or density.

    Example:
        >>> round(resistance_per_m(31, 1178, 273.8, 780, 740) / 1e6, 3)
        4.555

    Source: Darcy's law for a layer of which only resistance = thickness over permeability is known.
    """
    if not (viscosity_pa_s > 0 and flow_kg_h > 0 and melt_density_kg_m3 > 0):
        return nan
    volume_m3_s = flow_kg_h / 3600 / melt_density_kg_m3
    return dp_bar * PA_PER_BAR * area_cm2 / CM2_PER_M2 / (viscosity_pa_s * volume_m3_s)


def filtration_load_bar_cm2_kg(rise_bar: float, melt_kg: float, area_cm2: float) -> float:
    """Pressure rise for each kilogram of melt on a square centimetre; NaN without melt.

    It resembles the filter pressure value of the laboratory (EN 13900-5), which relates the rise to the mass
    of a colorant; it is not that test.

    Example:
        >>> round(filtration_load_bar_cm2_kg(45 - 23, 49.4, 1178), 1)
        524.6
    """
    return rise_bar * area_cm2 / melt_kg if melt_kg > 0 else nan


def filtration_load_of_dirt_bar_cm2_g(rise_bar: float, dirt_kg: float, area_cm2: float) -> float:
    """Pressure rise for each gram of dirt on a square centimetre; NaN without dirt.

    Example:
        >>> round(filtration_load_of_dirt_bar_cm2_g(45 - 23, 0.539, 1178), 1)
        48.1
    """
    return rise_bar * area_cm2 / (1000 * dirt_kg) if dirt_kg > 0 else nan
