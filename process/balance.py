"""What came in against what went out: dirt, mass, and which of several flow readings agree."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import isnan, nan

MOST_CLOSURE = 0.20
"""A balance that is farther open supports no separation figure. common practice, no source."""
MOST_SPREAD = 0.08
"""Flow readings that differ more do not agree. common practice, no source."""


@dataclass(frozen=True, slots=True)
class DirtBalance:
    """Dirt in and out, kg/h.

    Attributes:
        in_kg_h: with the feed.
        discharged_kg_h: with what the filter threw out.
        passed_kg_h: measured in the pellets; NaN when it was not.
        melt_lost_kg_h: good melt that was thrown out with the dirt.
    """

    in_kg_h: float
    discharged_kg_h: float
    passed_kg_h: float
    melt_lost_kg_h: float

    @property
    def closure(self) -> float:
        """How far in and out are apart, as a share of what came in; NaN where the pellets were not measured.

        Taking what passed as the difference would close it by construction.
        """
        if not self.in_kg_h > 0:
            return nan
        return abs(self.in_kg_h - self.discharged_kg_h - self.passed_kg_h) / self.in_kg_h

    @property
    def separated(self) -> float:
        """Share of the dirt that was thrown out; NaN while the balance is more than 20 % open or not known.

        Example:
            >>> round(dirt_balance(780, 0.014, 17.4, 0.47, 0.003596).separated, 3)
            0.749
        """
        return self.discharged_kg_h / self.in_kg_h if self.closure <= MOST_CLOSURE else nan


def dirt_balance(
    feed_kg_h: float,
    feed_share: float,
    discharge_kg_h: float,
    discharge_share: float,
    pellet_share: float = nan,
) -> DirtBalance:
    """Dirt in feed, discharge and pellets.

    Args:
        feed_share, discharge_share, pellet_share: dirt in each, 0 to 1. From ash they count minerals only.

    Example:
        >>> one = dirt_balance(780, 0.014, 17.4, 0.47)
        >>> round(one.in_kg_h, 2), round(one.discharged_kg_h, 2), round(one.melt_lost_kg_h, 2)
        (10.92, 8.18, 9.22)
    """
    discharged = discharge_share * discharge_kg_h
    passed = pellet_share * (feed_kg_h - discharge_kg_h)
    return DirtBalance(feed_share * feed_kg_h, discharged, passed, discharge_kg_h - discharged)


def residual_ppm(in_kg_h: float, discharged_kg_h: float, feed_kg_h: float, discharge_kg_h: float) -> float:
    """Dirt left in the pellets if all that was not discharged has passed, mg/kg; NaN without pellets.

    Example:
        >>> round(residual_ppm(10.92, 8.18, 780, 17.4), -1)
        3590.0
    """
    pellets = feed_kg_h - discharge_kg_h
    return 1e6 * (in_kg_h - discharged_kg_h) / pellets if pellets > 0 else nan


@dataclass(frozen=True, slots=True)
class Agreement:
    """Which flow readings agree.

    Attributes:
        kg_h: mean of the two that are nearest to each other; NaN with fewer than two readings.
        names: these two.
        spread: highest less lowest of all readings, as a share of ``kg_h``.
    """

    kg_h: float
    names: tuple[str, ...]
    spread: float

    @property
    def agrees(self) -> bool:
        """Whether all readings lie within 8 % of one another."""
        return self.spread <= MOST_SPREAD


def agreement(flows_kg_h: Mapping[str, float]) -> Agreement:
    """The mean of the two readings that are nearest to each other.

    Args:
        flows_kg_h: name → flow; NaN readings are passed over.

    Example:
        >>> found = agreement({"doser": 762.6, "scale": 757.0, "water": 775.0})
        >>> found.names, round(found.kg_h, 1), round(found.spread, 3)
        (('scale', 'doser'), 759.8, 0.024)
    """
    known = sorted((f, n) for n, f in flows_kg_h.items() if not isnan(f))
    if len(known) < 2:
        return Agreement(nan, (), nan)
    low, high = min(pairwise(known), key=lambda pair: pair[1][0] - pair[0][0])
    middle = (low[0] + high[0]) / 2
    spread = (known[-1][0] - known[0][0]) / middle if middle > 0 else nan
    return Agreement(middle, (low[1], high[1]), spread)
