"""What pellets give to the process water, which tells the throughput once more."""

from __future__ import annotations

from math import nan

_WATER_KG_M3 = 992.0
_WATER_KJ_KG_K = 4.178
"""Of water at about 42 Cel. Source: steam tables, from memory."""


def given_kw(
    flow_kg_h: float, melt_cel: float, pellet_cel: float, heat_capacity_kj_kg_k: float, melting_kj_kg: float
) -> float:
    """Heat that melt loses until it is a pellet of ``pellet_cel``.

    Example:
        >>> round(given_kw(780, 222, 62, 2.5, 100), 1)
        108.3
    """
    return flow_kg_h / 3600 * (heat_capacity_kj_kg_k * (melt_cel - pellet_cel) + melting_kj_kg)


def taken_kw(water_m3_h: float, rise_k: float) -> float:
    """Heat that the process water takes up.

    Example:
        >>> round(taken_kw(22, 4.25), 1)
        107.6
    """
    return water_m3_h * _WATER_KG_M3 / 3600 * _WATER_KJ_KG_K * rise_k


def rise_k(heat_kw: float, water_m3_h: float) -> float:
    """How much warmer the water returns; NaN without water.

    Example:
        >>> round(rise_k(108.3, 22), 2)
        4.28
    """
    return heat_kw / taken_kw(water_m3_h, 1.0) if water_m3_h > 0 else nan


def flow_kg_h(
    heat_kw: float, melt_cel: float, pellet_cel: float, heat_capacity_kj_kg_k: float, melting_kj_kg: float
) -> float:
    """Throughput that gives this heat; NaN when a kilogram gives none.

    Good to about 8 %, and only when both water probes read alike without melt.
    common practice, no source.

    Example:
        >>> round(flow_kg_h(107.7, 222, 62, 2.5, 100))
        775
    """
    one = given_kw(1.0, melt_cel, pellet_cel, heat_capacity_kj_kg_k, melting_kj_kg)
    return heat_kw / one if one > 0 else nan
