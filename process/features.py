"""What a line does, in a handful of numbers every ten seconds: the input of phases and of steady running."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isnan, nan

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Samples = tuple[Times, Floats]
"""Source times (rising, UTC nanoseconds) and values (NaN where bad) of one signal, shapes (n,)."""

NS = 1_000_000_000
GRID_S = 10.0
HOLD_S = 90.0

_TURNS_PER_MIN = 1.0
HOT_OUT_PERCENT = 60.0
_STANDING_ENDINGS = (".sp", ".state", ".total")
_ZONE = re.compile(r"((?:filter\.plate|extruder\.zone|die\.zone)\.\d+)\.temp\.pv")

_LINE_TAGS = frozenset(
    {
        "doser.rate.pv",
        "doser.rate.sp",
        "extruder.screw.speed.pv",
        "extruder.screw.speed.sp",
        "pelletizer.knife.speed.pv",
        "pelletizer.knife.speed.sp",
        "die.pressure.pv",
        "extruder.melt.temp.pv",
        "diverter.state",
        "filter.wiper.state",
    }
)
_ZONE_TAG = re.compile(
    r"(filter\.plate|extruder\.zone|die\.zone)\.\d+\.(temp\.pv|temp\.sp|out|enabled\.state)"
)


def tells_phase(path: str) -> bool:
    """Whether a tag is looked at to tell the phase of a line.

    Example:
        >>> tells_phase("filter.plate.3.out"), tells_phase("dryer.current.pv")
        (True, False)
    """
    return path in _LINE_TAGS or _ZONE_TAG.fullmatch(path) is not None


@dataclass(frozen=True, slots=True)
class Features:
    """Ten seconds of a line; NaN where not known or not there.

    Attributes:
        time_ns: end of the ten seconds, UTC nanoseconds.
        feed_kg_h, feed_sp_kg_h: feed, and its set-point.
        screw_per_min, screw_sp_per_min: screw speed, and its set-point.
        knife_per_min, knife_sp_per_min: knife speed, and its set-point.
        die_bar, melt_cel: die pressure, melt temperature.
        most_below_k: the farthest that a zone in use is below its set-point.
        farthest_k: the farthest that a zone in use is from its set-point, either way.
        hottest_cel: the hottest zone.
        most_out: the highest heating output of a zone, %.
        hot_share: share of the zones in use whose output is above 60 %.
        setpoint_sum_cel: sum of the zones' set-points, to see that one changed.
        diverter: 0 good product, otherwise not.
        wiping: whether the wiper ran in these ten seconds.
    """

    time_ns: int
    feed_kg_h: float = nan
    feed_sp_kg_h: float = nan
    screw_per_min: float = nan
    screw_sp_per_min: float = nan
    knife_per_min: float = nan
    knife_sp_per_min: float = nan
    die_bar: float = nan
    melt_cel: float = nan
    most_below_k: float = nan
    farthest_k: float = nan
    hottest_cel: float = nan
    most_out: float = nan
    hot_share: float = nan
    setpoint_sum_cel: float = nan
    diverter: float = nan
    wiping: bool = False

    @property
    def turns(self) -> bool:
        """Whether the screw is known to turn."""
        return self.screw_per_min > _TURNS_PER_MIN

    @property
    def stands(self) -> bool:
        """Whether the screw is known to stand."""
        return self.screw_per_min <= _TURNS_PER_MIN

    @property
    def cuts(self) -> bool:
        """Whether the knives turn; a line without that signal counts as cutting."""
        return isnan(self.knife_per_min) or self.knife_per_min > _TURNS_PER_MIN

    @property
    def diverter_good(self) -> bool:
        """Whether pellets go to good product; a line without that signal counts as good."""
        return isnan(self.diverter) or self.diverter == 0


def features_of(signals: Mapping[str, Samples], start_ns: int, end_ns: int) -> list[Features]:
    """Features of every whole ten seconds from start to end.

    Each is the median of the samples in its ten seconds; where there are none the last value is held: a
    set-point or a state (``.sp``, ``.state``, ``.total``) until the next one, a measured value for 90 s.

    Args:
        signals: path → samples; a path that a line does not have is left out. A sample before the start is
            held into it.
    """
    points = int((end_ns - start_ns) // (GRID_S * NS))
    ends = start_ns + (np.arange(points, dtype=np.int64) + 1) * int(GRID_S * NS)

    def column(path: str) -> Floats:
        found = signals.get(path)
        return np.full(points, nan) if found is None else _on_grid(path, found, start_ns, ends)

    wiper = signals.get("filter.wiper.state")
    singles = {
        "feed_kg_h": column("doser.rate.pv"),
        "feed_sp_kg_h": column("doser.rate.sp"),
        "screw_per_min": column("extruder.screw.speed.pv"),
        "screw_sp_per_min": column("extruder.screw.speed.sp"),
        "knife_per_min": column("pelletizer.knife.speed.pv"),
        "knife_sp_per_min": column("pelletizer.knife.speed.sp"),
        "die_bar": column("die.pressure.pv"),
        "melt_cel": column("extruder.melt.temp.pv"),
        "diverter": column("diverter.state"),
        **_zones(signals, column, points),
    }
    wiping = np.zeros(points, np.bool_) if wiper is None else _ever(wiper, start_ns, ends)
    rows = zip(*(c.tolist() for c in singles.values()), strict=True)
    return [
        Features(t, **dict(zip(singles, row, strict=True)), wiping=w)
        for t, row, w in zip(ends.tolist(), rows, wiping.tolist(), strict=True)
    ]


def _zones(signals: Mapping[str, Samples], column: Callable[[str], Floats], points: int) -> dict[str, Floats]:
    """The features that look at all heated zones together."""
    zones = [m.group(1) for m in map(_ZONE.fullmatch, sorted(signals)) if m]
    if not zones:
        return {}
    used = np.stack([_in_use(z, signals, column, points) for z in zones], axis=1)

    def all_of(ending: str) -> Floats:
        return np.where(used, np.stack([column(z + ending) for z in zones], axis=1), nan)

    temp, setpoint, out = all_of(".temp.pv"), all_of(".temp.sp"), all_of(".out")
    known = np.sum(~np.isnan(out), axis=1)
    return {
        "most_below_k": _largest(setpoint - temp),
        "farthest_k": _largest(np.abs(setpoint - temp)),
        "hottest_cel": _largest(temp),
        "most_out": _largest(out),
        "hot_share": np.where(known > 0, np.sum(out > HOT_OUT_PERCENT, axis=1) / np.maximum(known, 1), nan),
        "setpoint_sum_cel": np.sum(setpoint, axis=1),
    }


def _in_use(
    zone: str, signals: Mapping[str, Samples], column: Callable[[str], Floats], points: int
) -> NDArray[np.bool_]:
    path = zone + ".enabled.state"
    return column(path) != 0 if path in signals else np.ones(points, np.bool_)


def _on_grid(path: str, samples: Samples, start_ns: int, ends: Times) -> Floats:
    """Median of each ten seconds, held where there is no sample, shape (points,)."""
    time_ns, value = samples
    inside = (time_ns >= start_ns) & (time_ns < (ends[-1] if len(ends) else start_ns)) & ~np.isnan(value)
    which = (time_ns[inside] - start_ns) // int(GRID_S * NS)
    order = np.lexsort((value[inside], which))
    ordered, which = value[inside][order], which[order]
    first = np.flatnonzero(np.diff(which, prepend=-1))
    last = np.append(first[1:], len(which)) - 1
    last = last[: len(first)]
    on_grid = _held(path, samples, ends)
    on_grid[which[first]] = (ordered[(first + last) // 2] + ordered[(first + last + 1) // 2]) / 2
    return on_grid


def _held(path: str, samples: Samples, ends: Times) -> Floats:
    """The last value before each end, as long as it may be held."""
    time_ns, value = samples
    at = np.searchsorted(time_ns, ends, side="left") - 1
    if len(time_ns) == 0:
        return np.full(len(ends), nan)
    held: Floats = np.where(at >= 0, value[np.maximum(at, 0)], nan)
    if not path.endswith(_STANDING_ENDINGS):
        held[ends - time_ns[np.maximum(at, 0)] > int(HOLD_S * NS)] = nan
    return held


def _ever(samples: Samples, start_ns: int, ends: Times) -> NDArray[np.bool_]:
    """Whether a state was 1 at any time within each ten seconds."""
    time_ns, value = samples
    on = (value == 1) & (time_ns >= start_ns) & (time_ns < (ends[-1] if len(ends) else start_ns))
    ever = np.zeros(len(ends), np.bool_)
    ever[(time_ns[on] - start_ns) // int(GRID_S * NS)] = True
    ever |= _held(".state", samples, ends) == 1
    return ever


def _largest(values: Floats) -> Floats:
    """The largest known value of each row; NaN where none is known."""
    largest: Floats = np.max(np.where(np.isnan(values), -np.inf, values), axis=1)
    return np.where(np.isinf(largest), nan, largest)
