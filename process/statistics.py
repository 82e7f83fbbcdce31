"""Robust statistics: slopes and scatter that one wild sample cannot bend."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

MAD_TO_SIGMA = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope with its confidence interval, in units of y over units of x; NaN when there are too few points.

    Attributes:
        value: the slope.
        low, high: bounds of the interval.
        points: how many points were used.
    """

    value: float
    low: float
    high: float
    points: int

    @property
    def is_rising(self) -> bool:
        """Whether the whole interval lies above zero."""
        return self.low > 0

    def scaled(self, factor: float) -> Slope:
        """The slope in other units; ``factor`` above zero."""
        return Slope(self.value * factor, self.low * factor, self.high * factor, self.points)


def theil_sen(x: ArrayLike, y: ArrayLike, confidence: float = 0.95) -> Slope:
    """The median of all pair slopes, with Sen's rank-based confidence interval.

    Pairs with equal x are passed over; points with NaN too. The interval's ranks are corrected for ties and
    interpolated between neighbouring pair slopes.

    Args:
        x, y: shape (n,), may hold NaN.
        confidence: of the interval, 0 to 1.

    Example:
        >>> theil_sen([0, 1, 2, 3], [0.0, 2.0, 4.0, 60.0]).value
        11.0

    Source: P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389; R. O. Gilbert, Statistical Methods for
        Environmental Pollution Monitoring (1987), 16.5.
    """
    xs, ys = _known_pairs(x, y)
    n = len(xs)
    first, second = np.triu_indices(n, k=1)
    run = xs[second] - xs[first]
    apart = run != 0
    slopes = np.sort((ys[second] - ys[first])[apart] / run[apart])
    if len(slopes) == 0:
        return Slope(np.nan, np.nan, np.nan, n)
    variance = (n * (n - 1) * (2 * n + 5) - _tie_term(xs) - _tie_term(ys)) / 18
    spread = NormalDist().inv_cdf(0.5 + confidence / 2) * sqrt(max(variance, 0.0))
    ranks = np.arange(1, len(slopes) + 1)
    low, high = np.interp([(len(slopes) - spread) / 2, (len(slopes) + spread) / 2 + 1], ranks, slopes)
    return Slope(float(np.median(slopes)), float(low), float(high), n)


def least_squares(x: ArrayLike, y: ArrayLike) -> tuple[float, float]:
    """Intercept and slope of the least-squares line; NaN with fewer than two different x.

    Example:
        >>> least_squares([0, 1, 2], [1.0, 3.0, 5.0])
        (1.0, 2.0)
    """
    xs, ys = _known_pairs(x, y)
    if len(xs) < 2:
        return np.nan, np.nan
    middle_x, middle_y = float(np.mean(xs)), float(np.mean(ys))
    width = float(np.sum((xs - middle_x) ** 2))
    if width == 0:
        return np.nan, np.nan
    slope = float(np.sum((xs - middle_x) * (ys - middle_y))) / width
    return middle_y - slope * middle_x, slope


def slopes_of_columns(x: Floats, y: Floats, least_points: int = 2) -> Floats:
    """The least-squares slope of each column of ``y``; NaN in a column with too few known values.

    Args:
        x: shape (n,), without NaN.
        y: shape (n, columns), may hold NaN.
        least_points: known values that a column must have.

    Returns:
        shape (columns,).
    """
    known = ~np.isnan(y)
    count = np.sum(known, axis=0)
    safe = np.maximum(count, 1)
    filled = np.where(known, y, 0.0)
    across = np.where(known, x[:, None], 0.0)
    off_x = np.where(known, x[:, None] - np.sum(across, axis=0) / safe, 0.0)
    off_y = np.where(known, filled - np.sum(filled, axis=0) / safe, 0.0)
    width = np.sum(off_x**2, axis=0)
    enough = (count >= max(least_points, 2)) & (width > 0)
    slope: Floats = np.where(enough, np.sum(off_x * off_y, axis=0) / np.where(enough, width, 1.0), np.nan)
    return slope


def median_and_sigma(values: ArrayLike) -> tuple[float, float]:
    """Median and robust standard deviation (1.4826 times the median absolute deviation); NaN when empty.

    Example:
        >>> median_and_sigma([1.0, 2.0, 3.0, 4.0, 100.0])
        (3.0, 1.4826)
    """
    known = np.asarray(values, dtype=np.float64)
    known = known[~np.isnan(known)]
    if len(known) == 0:
        return np.nan, np.nan
    middle = float(np.median(known))
    return middle, MAD_TO_SIGMA * float(np.median(np.abs(known - middle)))


def median_of_columns(values: Floats) -> Floats:
    """The median of each column's known values; NaN where a column has none (and no warning).

    Args:
        values: shape (n, columns), may hold NaN.

    Returns:
        shape (columns,).
    """
    if values.shape[0] == 0:
        return np.full(values.shape[1], np.nan)
    ordered = np.sort(values, axis=0)  # NaN goes to the end
    count = np.sum(~np.isnan(values), axis=0)
    columns = np.arange(values.shape[1])
    lower = ordered[np.maximum(count - 1, 0) // 2, columns]
    upper = ordered[np.minimum(count // 2, values.shape[0] - 1), columns]
    middle: Floats = np.where(count > 0, (lower + upper) / 2, np.nan)
    return middle


def _known_pairs(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if xs.shape != ys.shape or xs.ndim != 1:
        raise ValueError(f"x and y must be of one length: {xs.shape} and {ys.shape}")
    known = ~(np.isnan(xs) | np.isnan(ys))
    return xs[known], ys[known]


def _tie_term(values: Floats) -> float:
    """What ties take off 18 times the variance of Kendall's S."""
    _, count = np.unique(values, return_counts=True)
    return float(np.sum(count * (count - 1) * (2 * count + 5)))
