"""What each sample of a zone's thermocouple is: a temperature, or what only a broken or shorted one shows.

No zone warms or cools by more than a kelvin in a second: a reading that leaps is electrical, not thermal.
Of zones whose samples are plain temperatures nothing is given.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from enum import Enum
from math import isnan
from typing import Any

import numpy as np

from historian.frame import NS, Series
from historian.quality import NO_COMMUNICATION, NO_DATA, is_bad
from rules.block import Block
from rules.seen.grid import array, numbers
from rules.seen.heat import HIGHEST_CEL, LOWEST_CEL, OUT_OF_RANGE_K, HeatedZones

_LEAP_K = 20.0
_FASTEST_K_S = 1.0
"""common practice, no source: both."""
_BACK_K = 40.0
_CODE = np.uint32(0xFFFF_0000)
_LOST = np.asarray([NO_DATA, NO_COMMUNICATION], dtype=np.uint32)


class Shown(Enum):
    """What one sample is."""

    TEMPERATURE = "temperature"
    HIGH = "beyond its range, leapt up, or marked bad"
    LOW = "below all reason, or leapt down"
    UNKNOWN = "its source is lost"


class ProbeSamples:
    """Follows the thermocouples of all zones, sample by sample where it matters."""

    def __init__(self, zones: HeatedZones) -> None:
        size = len(zones)
        self._temp = [s + ".temp.pv" for s in zones.subjects]
        self._set = [s + ".temp.sp" for s in zones.subjects]
        self._setpoint = np.full(size, np.nan)
        self._last = np.full(size, np.nan)  # the last temperature
        self._last_ns = np.zeros(size, dtype=np.int64)
        self._off = np.zeros(size, dtype=np.bool_)  # the last sample was none

    def of(self, block: Block, watched: Callable[[int], bool]) -> Iterator[tuple[int, int, Shown, float]]:
        """Zone, time, what it is, and its value: of zones that show something, or that are watched."""
        for zone, path in enumerate(self._temp):
            setpoint, series = block.series(self._set[zone]), block.series(path)
            if len(setpoint):
                self._setpoint[zone] = _last_good(setpoint, self._setpoint[zone])
            if len(series) == 0:
                continue
            if not (self._off[zone] or watched(zone)) and self._is_plain(zone, series):
                self._last[zone], self._last_ns[zone] = series.value[-1], series.time_ns[-1]
                continue
            bad = is_bad(series.quality)
            lost = np.isin(series.quality & _CODE, _LOST)
            samples = zip(
                series.time_ns.tolist(), series.value.tolist(), bad.tolist(), lost.tolist(), strict=True
            )
            for time_ns, value, is_off, is_lost in samples:
                yield zone, time_ns, self._shown(zone, time_ns, value, is_off, is_lost), value

    def _is_plain(self, zone: int, series: Series) -> bool:
        value, last = series.value, self._last[zone]
        if is_bad(series.quality).any() or isnan(last):
            return False
        low, high = float(value.min()), float(value.max())
        inside = low >= LOWEST_CEL and high <= self._highest(zone)
        # Within a block of minutes a zone may move by more: then every sample is looked at.
        return inside and abs(low - last) < _LEAP_K / 2 and abs(high - last) < _LEAP_K / 2

    def _highest(self, zone: int) -> float:
        setpoint = float(self._setpoint[zone])
        return HIGHEST_CEL if isnan(setpoint) else min(HIGHEST_CEL, setpoint + OUT_OF_RANGE_K)

    def _shown(self, zone: int, time_ns: int, value: float, bad: bool, lost: bool) -> Shown:
        if lost or (isnan(value) and not bad):
            return Shown.UNKNOWN
        shown = Shown.HIGH if bad else self._by_value(zone, time_ns, value)
        self._off[zone] = shown is not Shown.TEMPERATURE
        if shown is Shown.TEMPERATURE:
            self._last[zone], self._last_ns[zone] = value, time_ns
        return shown

    def _by_value(self, zone: int, time_ns: int, value: float) -> Shown:
        if value > self._highest(zone):
            return Shown.HIGH
        if value < LOWEST_CEL:
            return Shown.LOW
        last = float(self._last[zone])
        if isnan(last):
            return Shown.TEMPERATURE
        leap = value - last
        if self._off[zone]:
            back = abs(leap) < _BACK_K or abs(value - self._setpoint[zone]) < _BACK_K
            if back:
                return Shown.TEMPERATURE
        elif abs(leap) <= _LEAP_K + _FASTEST_K_S * (time_ns - self._last_ns[zone]) / NS:
            return Shown.TEMPERATURE
        return Shown.HIGH if leap > 0 else Shown.LOW

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "setpoint": numbers(self._setpoint),
            "last": numbers(self._last),
            "last_ns": self._last_ns.tolist(),
            "off": self._off.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._setpoint, self._last = array(state["setpoint"]), array(state["last"])
        self._last_ns = np.asarray(state["last_ns"], dtype=np.int64)
        self._off = np.asarray(state["off"], dtype=np.bool_)


def _last_good(series: Series, before: float) -> float:
    good = series.value[~is_bad(series.quality) & ~np.isnan(series.value)]
    return float(good[-1]) if len(good) else before
