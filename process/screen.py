"""What a pressure difference says of the screen, at another flow or melt too, and how long it can go on."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, nan

from process.statistics import Slope

LEAST_DIE_BAR = 5.0
"""Below this the die pressure is no viscometer (common practice, no source)."""

LONGEST_FORECAST_S = 24 * 3600.0


def pressure_index(dp_bar: float, die_bar: float) -> float:
    """J = 100 times pressure difference over die pressure; NaN under 5 bar at the die.

    Melt that passed the screen passes the die at the same flow, so the die is the viscometer: a stiffer melt
    or more throughput moves both pressures and leaves J, a loaded screen moves J. Not valid while the die
    itself is disturbed. Derived here from power-law flow through both.

    Example:
        >>> round(pressure_index(31, 59), 1), round(pressure_index(38, 72), 1)
        (52.5, 52.8)
    """
    if isnan(dp_bar) or isnan(die_bar) or die_bar < LEAST_DIE_BAR:
        return nan
    return 100 * dp_bar / die_bar


def normalised_dp_bar(
    dp_bar: float, flow_kg_h: float, reference_kg_h: float, shift_factor: float, exponent: float
) -> float:
    """The pressure difference as it would be at the reference flow and temperature.

    Args:
        shift_factor: a_T of the melt temperature against the reference temperature (see ``rheology``).
        exponent: power-law exponent n of the melt.

    Returns:
        bar; NaN without flow.

    Derived here: a power-law melt at imposed flow gives dp in proportion to (Q a_T)^n.

    Example:
        >>> round(normalised_dp_bar(38, 700, 780, 0.8773, 0.5618), 2)
        43.46
    """
    if not (flow_kg_h > 0 and reference_kg_h > 0 and shift_factor > 0):
        return nan
    return float(dp_bar * (reference_kg_h / (flow_kg_h * shift_factor)) ** exponent)


@dataclass(frozen=True, slots=True)
class Forecast:
    """When a limit is reached, seconds from now.

    Attributes:
        after_s: by the slope itself.
        earliest_s, latest_s: by the bounds of the slope's interval, at most a day.
    """

    after_s: float
    earliest_s: float
    latest_s: float


def time_to_limit(now: float, limit: float, slope_per_s: Slope) -> Forecast | None:
    """How long until the limit, going on along the slope; None while it is not sure that it rises.

    Args:
        now, limit: in one unit; at or above the limit gives zeros.
        slope_per_s: in that unit a second.

    Example:
        >>> round(time_to_limit(42.84, 45, Slope(0.08178, 0.0777, 0.0859, 13)).after_s, 1)
        26.4
    """
    if not slope_per_s.is_rising or isnan(now) or isnan(limit):
        return None
    left = max(limit - now, 0.0)
    after, earliest, latest = (
        min(left / s, LONGEST_FORECAST_S) for s in (slope_per_s.value, slope_per_s.high, slope_per_s.low)
    )
    return Forecast(after, earliest, latest)
