"""Which blocking law the saw-tooth of a filter follows: its power m by regression, with an interval.

Each cycle has a start and a rate of its own, m is common to all. For each m of a grid the integrated law is
fitted to each cycle; the m that fits all of them best is taken, and its interval comes from leaving out one
cycle after the other (jackknife), so that neither the noise within a cycle nor dirt that comes unevenly has
to be known. Fitting the integrated law, not slopes of it, keeps noise from bending m.

Melt that passes a fixed resistance in series, such as a breaker plate with narrow holes, pulls m about:
then the law is not told apart, or wrongly. Source of the jackknife: B. Efron, R. J. Tibshirani, An
Introduction to the Bootstrap (1993), ch. 11.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isnan, nan, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from process.blocking import NEWTONIAN, Law, power_of

Floats = NDArray[np.float64]

LEAST_CYCLES = 4
LEAST_POINTS = 20
LEAST_RISE_BAR = 8.0
"""A smaller rise bends too little to tell a law by. common practice, no source: all three."""
_GRID = np.arange(-4.0, 8.01, 0.25)
_BEYOND = 0.5
_STEPS = 6
_LEAST_BASE = 1e-3
_LEAST_DP_BAR = 1.0
# No gauge is better; and a cycle that fits by luck must not outweigh all others.
_LEAST_NOISE_BAR = 0.05
# What bends all cycles alike does not show in their scatter. common practice, no source.
_LEAST_STANDARD = 0.03


@dataclass(frozen=True, slots=True)
class Rise:
    """The pressure difference of one cycle, from after a cleaning to before the next.

    Attributes:
        load: melt that has passed since the cleaning, in any unit, rising, shape (n,).
        dp_bar: shape (n,), may hold NaN.
    """

    load: Floats
    dp_bar: Floats

    @property
    def known(self) -> Rise:
        """Without the points of which something is not known, or where there is hardly any pressure."""
        keep = np.isfinite(self.load) & np.isfinite(self.dp_bar) & (self.dp_bar > _LEAST_DP_BAR)
        return Rise(self.load[keep], self.dp_bar[keep])

    @property
    def tells(self) -> bool:
        """Whether it is long and high enough to be fitted; of known points only."""
        if len(self.load) < LEAST_POINTS or not self.load[-1] > self.load[0]:
            return False
        tenth = max(len(self.load) // 10, 1)
        return float(np.median(self.dp_bar[-tenth:]) - np.median(self.dp_bar[:tenth])) >= LEAST_RISE_BAR


@dataclass(frozen=True, slots=True)
class BlockingFit:
    """What the rises say of the law.

    Attributes:
        power: m; NaN when it could not be found.
        low, high: 95 % interval of m.
        standard: standard uncertainty of m.
        cycles: how many rises were used.
        possible: the laws that are not ruled out; empty when none of them fits.
        why: what kept m from being found; empty when it was.
    """

    power: float
    low: float
    high: float
    standard: float
    cycles: int
    possible: tuple[Law, ...]
    why: str = ""

    @property
    def law(self) -> Law | None:
        """The one law that is left; None when they are not told apart."""
        return self.possible[0] if len(self.possible) == 1 else None

    @property
    def wiping_helps(self) -> bool | None:
        """Whether the dirt lies on the screen; None when that is not told apart."""
        kinds = {law.wiping_helps for law in self.possible}
        return kinds.pop() if len(kinds) == 1 else None


def fit_blocking(rises: Sequence[Rise], exponent: float = NEWTONIAN, confidence: float = 0.95) -> BlockingFit:
    """The power of the law that these rises follow.

    Args:
        rises: of one screen and one material at even flow; those that tell too little are passed over.
        exponent: n of the melt's power law, above 0.
        confidence: of the interval, 0 to 1.
    """
    usable = [rise for rise in (r.known for r in rises) if rise.tells]
    count = len(usable)
    if not exponent > 0:
        return _nothing(count, "the melt's power-law exponent is not above zero")
    if count < LEAST_CYCLES:
        return _nothing(
            count,
            f"{count} cycles rise by {LEAST_RISE_BAR:g} bar or more and are known throughout; "
            f"{LEAST_CYCLES} are needed",
        )
    misfit = np.stack([np.log(_misfits(r) + len(r.load) * _LEAST_NOISE_BAR**2) for r in usable])
    whole = misfit.sum(axis=0)
    power = _lowest(whole)
    left_out = np.array([_lowest(whole - one) for one in misfit])
    if isnan(power) or np.isnan(left_out).any():
        return _nothing(count, "the pressure rises unlike any of the laws, or too unevenly")
    scatter = sqrt((count - 1) / count * float(np.sum((left_out - left_out.mean()) ** 2)))
    standard = hypot(scatter, _LEAST_STANDARD)
    half = float(student.ppf(0.5 + confidence / 2, count - 1)) * standard
    low, high = power - half, power + half
    return BlockingFit(power, low, high, standard, count, possible_laws(low, high, exponent))


def possible_laws(low: float, high: float, exponent: float = NEWTONIAN) -> tuple[Law, ...]:
    """The laws that an interval of m leaves.

    A law whose power lies in the interval is left. Where none does, the two are left that the interval is
    nearest to: on either side of the middle between intermediate and standard, or these two across it.

    Example:
        >>> [law.value for law in possible_laws(-0.2, 0.3)], [law.value for law in possible_laws(0.8, 1.6)]
        (['cake'], ['intermediate', 'standard'])
        >>> [law.value for law in possible_laws(0.3, 0.7)]
        ['cake', 'intermediate']
    """
    powers = {law: power_of(law, exponent) for law in Law}
    inside = tuple(law for law, power in powers.items() if low <= power <= high)
    parting = (powers[Law.INTERMEDIATE] + powers[Law.STANDARD]) / 2
    if high < -_BEYOND or low > powers[Law.COMPLETE] + _BEYOND:
        return ()
    if inside:
        return inside
    if low > parting:
        return (Law.STANDARD, Law.COMPLETE)
    if high < parting:
        return (Law.CAKE, Law.INTERMEDIATE)
    return (Law.INTERMEDIATE, Law.STANDARD)


def _misfits(rise: Rise) -> Floats:
    """Sum of squares that each m of the grid leaves, by Gauss-Newton, shape (grid,)."""
    x = (rise.load - rise.load[0]) / (rise.load[-1] - rise.load[0])
    dp = rise.dp_bar
    bend = np.polynomial.Polynomial.fit(x, dp, 2)
    first, last = (max(float(bend(end)), _LEAST_DP_BAR) for end in (0.0, 1.0))
    one_less = (1 - _GRID)[:, None]
    straight = np.abs(one_less) < 1e-9
    safe = np.where(straight, 1.0, one_less)
    ratio = max(last / first, 1.01)
    start = np.full((len(_GRID), 1), np.log(first))
    rate = np.where(straight, np.log(ratio), (ratio**safe - 1) / safe)
    best = np.full(len(_GRID), np.inf)
    for _ in range(_STEPS):
        base = np.maximum(1 + one_less * rate * x, _LEAST_BASE)
        shape = np.where(straight, np.exp(rate * x), base ** (1 / safe))
        model = np.exp(start) * shape
        rest = dp - model
        best = np.minimum(best, np.sum(rest * rest, axis=1))
        by_rate = model * np.where(straight, x, x / base)
        a, b, c = (np.sum(p * q, axis=1) for p, q in ((model, model), (model, by_rate), (by_rate, by_rate)))
        u, v = np.sum(model * rest, axis=1), np.sum(by_rate * rest, axis=1)
        flat = a * c - b * b
        flat = np.where(flat > 1e-12 * a * c, flat, np.inf)
        start = start + np.clip((c * u - b * v) / flat, -0.5, 0.5)[:, None]
        rate = rate + np.clip((a * v - b * u) / flat, -0.5, 0.5)[:, None]
    return best


def _lowest(misfit: Floats) -> float:
    """Where a curve over the grid is lowest, by the parabola through three points; NaN at the ends."""
    at = int(np.argmin(misfit))
    if at in (0, len(misfit) - 1):
        return nan
    left, middle, right = misfit[at - 1 : at + 2]
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / bend if bend > 0 else 0.0
    return float(_GRID[at] + shift * (_GRID[1] - _GRID[0]))


def _nothing(cycles: int, why: str) -> BlockingFit:
    return BlockingFit(nan, nan, nan, nan, cycles, (), why)
