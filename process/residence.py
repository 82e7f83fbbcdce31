"""How long melt stays, and how long to wait until the one before has gone."""

from __future__ import annotations

from math import isnan, nan

PURGE_TIMES = 5.0
LEAST_PURGE_S = 300.0
"""common practice, no source: both; dead corners take longer."""


def residence_s(volume_l: float, density_kg_m3: float, flow_kg_h: float, filled: float = 1.0) -> float:
    """Mean residence time in a volume; NaN without flow.

    Args:
        filled: share of the volume that holds melt, 0 to 1.

    Example:
        >>> round(residence_s(13.7, 740, 780), 1)
        46.8
    """
    return volume_l / 1000 * density_kg_m3 * filled / flow_kg_h * 3600 if flow_kg_h > 0 else nan


def purge_s(residence: float) -> float:
    """Five residence times, at least five minutes.

    Example:
        >>> purge_s(46.8), purge_s(100.0)
        (300.0, 500.0)
    """
    return max(PURGE_TIMES * residence, LEAST_PURGE_S) if not isnan(residence) else nan
