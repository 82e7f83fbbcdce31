"""Whether a process's memory grows: a judgement of what was measured of it, pure.

How a warm-up is told from growth. What is filled once (modules that are imported late, pools, caches, tables of
as many entries as there are tags) makes memory rise and then stay: it may rise in steps, and late, but it ends.
What leaks rises with the work for as long as there is work. So whoever measures leaves the first stretch out, in
which every kind of work has been done at least once, and what remains is cut into equal windows. Each stands
for its median, because work that passes (a minute of samples that is folded) shows as peaks. Growth is the last
window over the first. The slope over all windows does not hang on two of them; its lower bound says how fast
memory surely rises, and is taken from the windows because neighbouring measurements are not independent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import fmean, median
from typing import Final

WINDOWS: Final = 8
_T: Final = 1.943  # Student's t, one-sided 95 %, WINDOWS − 2 degrees of freedom; common tables


@dataclass(frozen=True, slots=True)
class Growth:
    """How something went after the warm-up.

    Attributes:
        first, last: medians of the first and the last window, in the unit of what was measured.
        slope_per_s: of the straight line through the medians of all windows, least squares.
        least_per_s: what the slope surely exceeds, at 95 %.
        span_s: of all windows.
    """

    first: float
    last: float
    slope_per_s: float
    least_per_s: float
    span_s: float

    @property
    def share(self) -> float:
        """Growth from the first window to the last, as a share."""
        return self.last / self.first - 1.0

    @property
    def sure_share(self) -> float:
        """By how much it surely grew over all windows, by its slope, as a share."""
        return self.least_per_s * self.span_s / self.first

    def reaches(self, most: float) -> bool:
        """Whether it grew by this share or more."""
        return max(self.share, self.sure_share) >= most

    def __str__(self) -> str:
        return (
            f"{self.first:,.0f} → {self.last:,.0f} ({100 * self.share:+.2f} %) in {self.span_s:.0f} s; "
            f"slope {self.slope_per_s:+,.0f}/s, surely more than {self.least_per_s:+,.0f}/s"
        )


def growth_of(measured: Sequence[tuple[float, float]]) -> Growth:
    """How something went.

    Args:
        measured: (seconds, how much) in the order of time, after the warm-up; three for each window at least.
    """
    if len(measured) < 3 * WINDOWS:
        raise ValueError(f"{len(measured)} measurements are too few for {WINDOWS} windows")
    edges = [len(measured) * n // WINDOWS for n in range(WINDOWS + 1)]
    windows = [measured[a:b] for a, b in pairwise(edges)]
    at = [fmean(t for t, _ in w) for w in windows]
    held = [median(b for _, b in w) for w in windows]
    mean_at, mean_held = fmean(at), fmean(held)
    spread = sum((t - mean_at) ** 2 for t in at)
    slope = sum((t - mean_at) * (b - mean_held) for t, b in zip(at, held, strict=True)) / spread
    rest = sum((b - mean_held - slope * (t - mean_at)) ** 2 for t, b in zip(at, held, strict=True))
    unsure = sqrt(rest / (WINDOWS - 2) / spread)
    return Growth(held[0], held[-1], slope, slope - _T * unsure, measured[-1][0] - measured[0][0])
