"""What the discharge of a filter costs: melt, disposal, the energy that went into it."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan


@dataclass(frozen=True, slots=True)
class Prices:
    """In any one currency.

    Attributes:
        pellets_kg: of good pellets; disposal_kg: of what is thrown out, each a kilogram.
        energy_kwh: of electricity.
    """

    pellets_kg: float
    disposal_kg: float
    energy_kwh: float


def loss_per_h(melt_lost_kg_h: float, discharge_kg_h: float, energy_kwh_kg: float, prices: Prices) -> float:
    """Cost of an hour.

    Example:
        >>> round(loss_per_h(9.22, 17.4, 0.205, Prices(0.78, 0.16, 0.19)), 2)
        10.65
    """
    return (
        melt_lost_kg_h * prices.pellets_kg
        + discharge_kg_h * prices.disposal_kg
        + discharge_kg_h * energy_kwh_kg * prices.energy_kwh
    )


def loss_per_t(an_hour: float, product_kg_h: float) -> float:
    """Cost of a tonne of product; NaN without product.

    Example:
        >>> round(loss_per_t(10.65, 780 - 17.4), 2)
        13.97
    """
    return 1000 * an_hour / product_kg_h if product_kg_h > 0 else nan
