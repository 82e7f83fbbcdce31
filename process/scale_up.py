"""The screen area that another throughput needs, from what a trial has shown at its own fineness.

It holds for the same fineness, pressure limits and plate. Nothing is told of a finer screen.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np

_DRAWS = 200_000


@dataclass(frozen=True, slots=True)
class Harder:
    """How the other material compares with the one of the trial.

    Attributes:
        viscosity_ratio: consistency of its melt over that of the trial's.
        dirt_ratio: its dirt over that of the trial's.
        exponent: n of the melt's power law.
    """

    viscosity_ratio: float
    dirt_ratio: float
    exponent: float

    @property
    def by_pressure(self) -> float:
        """Share of the specific throughput that is left at the same pressure.

        Example:
            >>> round(Harder(1.24, 1.2857, 0.5618).by_pressure, 4)
            0.6819
        """
        return _power(self.viscosity_ratio, -1 / self.exponent) if self.exponent > 0 else nan

    @property
    def by_interval(self) -> float:
        """Share that is left with cleanings as far apart as in the trial.

        Derived here: the pressure of a cake goes with K c u t u^n.

        Example:
            >>> round(Harder(1.24, 1.2857, 0.5618).by_interval, 4)
            0.7418
        """
        if not self.exponent > 0:
            return nan
        return _power(self.viscosity_ratio * self.dirt_ratio, -1 / (1 + self.exponent))

    @property
    def share(self) -> float:
        """The smaller of the two."""
        return min(self.by_pressure, self.by_interval)


def area_cm2(
    flow_kg_h: float, specific_kg_h_cm2: float, harder: Harder, service_factor: float = 1.0
) -> float:
    """Area for a throughput; NaN where the trial gave no specific throughput.

    Args:
        specific_kg_h_cm2: as validated in the trial.
        service_factor: what of the area may be counted on, 0 to 1.

    Example:
        >>> other = Harder(1.24, 1.2857, 0.5618)
        >>> round(area_cm2(1600, 780 / 1178, other), -1), round(area_cm2(1600, 780 / 1178, other, 0.85), -1)
        (3540.0, 4170.0)
    """
    left = specific_kg_h_cm2 * harder.share * service_factor
    return flow_kg_h / left if left > 0 else nan


def area_range_cm2(
    flow_kg_h: float,
    specific_kg_h_cm2: float,
    harder: Harder,
    service_factor: float = 1.0,
    *,
    short_trial: bool = False,
    seed: int = 1,
) -> tuple[float, float, float]:
    """P5, P50 and P95 of the area; NaN where the trial gave no specific throughput.

    Log-normal scatter of specific throughput (6 %), viscosity (10 %), dirt (15 %, twice that after a short
    trial) and of the model (8 %), n by 0.05. common practice, no source: all.
    """
    if not area_cm2(flow_kg_h, specific_kg_h_cm2, harder, service_factor) > 0:
        return nan, nan, nan
    draw = np.random.default_rng(seed)
    q, k, c, model, n = draw.standard_normal((5, _DRAWS))
    exponent = np.maximum(harder.exponent + 0.05 * n, 0.05)
    viscosity = harder.viscosity_ratio * np.exp(0.10 * k)
    dirt = harder.dirt_ratio * np.exp((0.30 if short_trial else 0.15) * c)
    share = np.minimum(viscosity ** (-1 / exponent), (viscosity * dirt) ** (-1 / (1 + exponent)))
    left = specific_kg_h_cm2 * np.exp(0.06 * q) * share * service_factor * np.exp(0.08 * model)
    low, middle, high = np.percentile(flow_kg_h / left, [5, 50, 95])
    return float(low), float(middle), float(high)


def _power(base: float, power: float) -> float:
    return float(base**power) if base > 0 else nan
