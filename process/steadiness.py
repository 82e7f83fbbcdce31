"""Whether a line has run steadily for the last ten minutes, and if not, what moved.

Pressure difference is not asked to be constant: it is a saw-tooth by design.
common practice, no source: all limits.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan

import numpy as np
from numpy.typing import NDArray

from process.features import GRID_S, Features
from process.statistics import least_squares

NS = 1_000_000_000
WINDOW_S = 600.0

_LEAST_KNOWN = 0.8
_LEAST_KNOWN_OF_DIE = 0.3  # wipes are cut out of it, which may take half of it
_FEED_SD, _FEED_DRIFT = 0.02, 0.02
_DIE_SD, _DIE_DRIFT = 0.03, 0.04
_MELT_SD_K, _MELT_DRIFT_K = 1.0, 2.0
_ZONE_K = 3.0
_SPEED_CHANGE = 0.002
_SHORT_POINTS = 6  # a zone may be off for a minute
_AFTER_WIPE_POINTS = 3


def why_not_steady(window: Sequence[Features]) -> str:
    """What keeps these points from being ten minutes of steady running; empty when nothing does.

    Args:
        window: features in order of time, ten minutes of them (more are looked at all the same).
    """
    minutes = (window[-1].time_ns - window[0].time_ns) / NS / 60 if window else 0.0
    if minutes * 60 < WINDOW_S - GRID_S / 2:
        return "less than ten minutes of data"
    if sum(w.farthest_k > _ZONE_K for w in window) > _SHORT_POINTS:
        return "a zone is more than 3 K from its set-point"
    if not all(w.diverter_good for w in window):
        return "the diverter is not on good product"
    if _changed([w.screw_sp_per_min for w in window]):
        return "the screw speed was changed"
    if _changed([w.knife_sp_per_min for w in window]):
        return "the knife speed was changed"
    at = np.asarray([(w.time_ns - window[0].time_ns) / NS / 60 for w in window])
    feed, melt = _column([w.feed_kg_h for w in window]), _column([w.melt_cel for w in window])
    die = _column([w.die_bar for w in window])
    die[_near_wipes(window)] = np.nan
    mean_feed, mean_die = _mean(feed), _mean(die)
    return (
        _moves("feed", at, feed, _FEED_SD * mean_feed, _FEED_DRIFT * mean_feed, _LEAST_KNOWN)
        or _moves("die pressure", at, die, _DIE_SD * mean_die, _DIE_DRIFT * mean_die, _LEAST_KNOWN_OF_DIE)
        or _moves("melt temperature", at, melt, _MELT_SD_K, _MELT_DRIFT_K, _LEAST_KNOWN)
    )


def _moves(
    name: str,
    at_min: NDArray[np.float64],
    values: NDArray[np.float64],
    most_sd: float,
    most_drift: float,
    least_known: float,
) -> str:
    """Why a signal is not steady: too little known, drifts, or scatters about its line."""
    known = ~np.isnan(values)
    if np.sum(known) < least_known * len(values):
        return f"{name} not known"
    intercept, slope = least_squares(at_min, values)
    if not abs(slope) * (at_min[-1] - at_min[0]) <= most_drift:
        return f"{name} drifts"
    rest = values[known] - intercept - slope * at_min[known]
    return "" if float(np.std(rest)) <= most_sd else f"{name} scatters"


def _changed(values: Sequence[float]) -> bool:
    known = [v for v in values if not isnan(v)]
    return bool(known) and max(known) - min(known) > _SPEED_CHANGE * max(map(abs, known))


def _near_wipes(window: Sequence[Features]) -> NDArray[np.bool_]:
    """Points in which the wiper ran, and half a minute after it; none where it never stops."""
    wiping = np.asarray([w.wiping for w in window], dtype=np.bool_)
    if wiping.all():
        return np.zeros_like(wiping)
    near = wiping.copy()
    for later in range(1, _AFTER_WIPE_POINTS + 1):
        near[later:] |= wiping[:-later]
    return near


def _column(values: Sequence[float]) -> NDArray[np.float64]:
    return np.asarray(values, dtype=np.float64)


def _mean(values: NDArray[np.float64]) -> float:
    known = values[~np.isnan(values)]
    return float(np.mean(known)) if len(known) else float("nan")
