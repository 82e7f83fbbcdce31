"""How much of the pressure a cleaning leaves for good: how the trough rises from one to the next."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan, sqrt

import numpy as np

from process.cycles import Cycle
from process.statistics import theil_sen
from rules.review import Window
from trials.figures.figure import Figure
from trials.figures.measured import Measured, missing
from trials.figures.pressures import DP
from trials.figures.resistance import DIE
from trials.figures.weighting import NO_WINDOW, apart

LEAST_CLEANINGS = 5
"""common practice, no source."""
_MOST_FOLLOWS = 0.8
_METHOD = "Rise of the pressure difference after a cleaning, for each cleaning: median of all pair slopes."
_NO_DIE = "The die pressure is not known: a stiffer melt would look like a lasting rise."


def lasting_figure(cycles: Sequence[Cycle], windows: Sequence[Window]) -> Figure:
    """Rise of the troughs; where the die pressure is known, of their share of it, at its mean: a stiffer melt
    or more throughput moves both.

    Where each cleaning starts at one pressure it rises a little less than what has come to stay: the more
    stays, the less dirt there is for a cleaning to leave.

    Args:
        cycles: the complete ones within the windows, in the order of time.
    """
    name = "lasting rise at a cleaning"
    if not apart(windows):
        return Figure.of(name, "bar", missing(NO_WINDOW, DP), windows, _METHOD)
    if len(cycles) < LEAST_CLEANINGS:
        few = f"{len(cycles)} complete cleanings lie in the window; {LEAST_CLEANINGS} are needed"
        return Figure.of(name, "bar", missing(few, DP), windows, _METHOD)
    if any(isnan(c.trough_index) for c in cycles):
        found = _slope([c.trough_bar for c in cycles], (DP,))
        return Figure.of(name, "bar", found, windows, _METHOD, [_NO_DIE])
    mean_bar = sum(c.die_bar for c in cycles) / len(cycles)
    found = _slope([c.trough_index / 100 * mean_bar for c in cycles], (DP, DIE))
    return Figure.of(name, "bar", found, windows, _METHOD)


def _slope(troughs_bar: Sequence[float], tags: tuple[str, ...]) -> Measured:
    """The slope for each cleaning.

    What bales bring lasts for several cleanings, so that these do not stand alone: the variance grows by
    (1 + r) / (1 - r). Source: effective sample size of a first-order autoregressive series.
    """
    number = np.arange(len(troughs_bar))
    slope = theil_sen(number, troughs_bar)
    rest = np.asarray(troughs_bar) - slope.value * number
    rest -= rest.mean()
    whole = float(rest @ rest)
    follows = min(max(float(rest[1:] @ rest[:-1]) / whole, 0.0), _MOST_FOLLOWS) if whole > 0 else 0.0
    # Half of a 95 % interval is 1.96 standard deviations of a normal estimate.
    standard = (slope.high - slope.low) / 2 / 1.96 * sqrt((1 + follows) / (1 - follows))
    return Measured(slope.value, {"sample": standard}, tags=tags)
