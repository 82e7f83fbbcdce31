"""The screen area that another throughput needs, from what a trial has shown at its own fineness.

It holds for the same fineness, pressure limits and plate. Nothing is told of a finer screen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isfinite, nan

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DRAWS = 200_000
_LEAST_EXPONENT = 0.05


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


@dataclass(frozen=True, slots=True)
class Scatter:
    """How far off what goes into a scale-up may be: standard deviations of logarithms, that of n as it is.

    Attributes:
        specific: of the specific throughput; viscosity, dirt: of the two ratios; model: of the rule itself.
        exponent: of n.

    common practice, no source: all.
    """

    specific: float = 0.06
    viscosity: float = 0.10
    dirt: float = 0.15
    model: float = 0.08
    exponent: float = 0.05

    @property
    def of_short_trial(self) -> Scatter:
        """After a trial that saw few bales: that of the dirt is doubled."""
        return replace(self, dirt=2 * self.dirt)


@dataclass(frozen=True, slots=True)
class Drawn:
    """What may be, drawn many times; each array has shape (draws,).

    Attributes:
        specific_kg_h_cm2: that gave the trial's pressures and interval, with the rule's own scatter in it.
        viscosity, dirt: ratios of the other material to the trial's.
        exponent: n of the melt.
    """

    specific_kg_h_cm2: Floats
    viscosity: Floats
    dirt: Floats
    exponent: Floats

    @classmethod
    def of(
        cls,
        specific_kg_h_cm2: float,
        harder: Harder,
        scatter: Scatter | None = None,
        *,
        seed: int = 1,
        draws: int = DRAWS,
    ) -> Drawn:
        """Draws of a trial's specific throughput and of the other material; the same for the same seed."""
        by = scatter if scatter is not None else Scatter()
        normal = np.random.default_rng(seed).standard_normal((5, draws))
        q, k, c, model, n = normal
        return cls(
            specific_kg_h_cm2 * np.exp(by.specific * q) * np.exp(by.model * model),
            harder.viscosity_ratio * np.exp(by.viscosity * k),
            harder.dirt_ratio * np.exp(by.dirt * c),
            np.maximum(harder.exponent + by.exponent * n, _LEAST_EXPONENT),
        )

    def areas_cm2(self, flow_kg_h: float, service_factor: float = 1.0, longer: float = 1.0) -> Floats:
        """Area at which neither the pressure after a cleaning nor the interval is worse than asked for.

        Args:
            service_factor: what of the area may be counted on, 0 to 1.
            longer: the interval that is asked for over that of the trial.
        """
        by_pressure = self.viscosity ** (-1 / self.exponent)
        by_interval = (self.viscosity * self.dirt * longer) ** (-1 / (1 + self.exponent))
        left = self.specific_kg_h_cm2 * np.minimum(by_pressure, by_interval) * service_factor
        areas: Floats = flow_kg_h / left
        return areas

    def at(self, specific_kg_h_cm2: float, seen: Saw) -> tuple[Floats, Floats]:
        """What a filter shows at another specific throughput with the other material.

        Returns:
            pressure difference after a cleaning, bar, and time from one cleaning to the next, s; a time of 0
            where the pressure after a cleaning lies at or above that which starts the next.

        Derived here: a clean screen's pressure goes with K u^n, a cake's with K c u t u^n.
        """
        u = specific_kg_h_cm2 / self.specific_kg_h_cm2
        after = seen.trough_bar * self.viscosity * u**self.exponent
        rise_bar_s = seen.rise_bar_s * self.viscosity * self.dirt * u ** (1 + self.exponent)
        left = seen.peak_bar - after
        period: Floats = np.where(left > 0, left / rise_bar_s + seen.wipe_s, 0.0)
        return after, period


@dataclass(frozen=True, slots=True)
class Saw:
    """The saw-tooth of a filter.

    Attributes:
        trough_bar, peak_bar: pressure difference after a cleaning and before the next.
        period_s: from the start of a cleaning to that of the next; wipe_s: how long one takes.
    """

    trough_bar: float
    peak_bar: float
    period_s: float
    wipe_s: float = 0.0

    @property
    def rise_bar_s(self) -> float:
        """How fast the pressure rises between cleanings; NaN without a rise.

        Example:
            >>> round(Saw(24, 45, 240, 22).rise_bar_s, 4)
            0.0963
        """
        lasts_s = self.period_s - self.wipe_s
        return (self.peak_bar - self.trough_bar) / lasts_s if lasts_s > 0 else nan

    @property
    def whole(self) -> bool:
        """Whether it is a saw-tooth at all."""
        rises = isfinite(self.rise_bar_s) and self.rise_bar_s > 0
        return rises and self.trough_bar > 0 and self.wipe_s >= 0


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
    """P5, P50 and P95 of the area, by the usual scatter; NaN where the trial gave no specific throughput."""
    if not area_cm2(flow_kg_h, specific_kg_h_cm2, harder, service_factor) > 0:
        return nan, nan, nan
    scatter = Scatter().of_short_trial if short_trial else Scatter()
    drawn = Drawn.of(specific_kg_h_cm2, harder, scatter, seed=seed)
    return spread(drawn.areas_cm2(flow_kg_h, service_factor))


def spread(values: Floats) -> tuple[float, float, float]:
    """P5, P50 and P95."""
    low, middle, high = np.percentile(values, [5, 50, 95])
    return float(low), float(middle), float(high)


def _power(base: float, power: float) -> float:
    return float(base**power) if base > 0 else nan
