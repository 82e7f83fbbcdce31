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
from numpy.typing import NDArray

from historian.frame import NS
from historian.quality import NO_COMMUNICATION, NO_DATA, is_bad
from rules.block import Block, Places
from rules.seen.grid import array, numbers
from rules.seen.heat import HIGHEST_CEL, LOWEST_CEL, OUT_OF_RANGE_K, HeatedZones

Floats = NDArray[np.float64]

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
        self._size = size
        ends = (".temp.pv", ".temp.sp")
        paths = [subject + end for end in ends for subject in zones.subjects]
        self._places = Places({path: n for n, path in enumerate(paths)})
        self._setpoint = np.full(size, np.nan)
        self._last = np.full(size, np.nan)  # the last temperature
        self._last_ns = np.zeros(size, dtype=np.int64)
        self._off = np.zeros(size, dtype=np.bool_)  # the last sample was none

    def of(self, block: Block, watched: Callable[[int], bool]) -> Iterator[tuple[int, int, Shown, float]]:
        """Zone, time, what it is, and its value: of zones that show something, or that are watched."""
        place = self._places.of(block.names)
        here = np.flatnonzero(place >= 0)
        if len(here) == 0:
            return
        number, last = place[here], block.start[here + 1] - 1
        sent = (number >= self._size) & ~is_bad(block.quality[last]) & ~np.isnan(block.value[last])
        self._setpoint[number[sent] - self._size] = block.value[last[sent]]
        probes = number < self._size
        here, zones, last = here[probes], number[probes], last[probes]
        plain = self._are_plain(block, here, zones)
        passed = plain & ~np.asarray([watched(z) for z in zones.tolist()], dtype=np.bool_)
        self._last[zones[passed]] = block.value[last[passed]]
        self._last_ns[zones[passed]] = block.time_ns[last[passed]]
        for n in np.flatnonzero(~passed).tolist():
            a, b = block.start[here[n]], block.start[here[n] + 1]
            yield from self._each(int(zones[n]), block, int(a), int(b))

    def _are_plain(self, block: Block, here: NDArray[np.intp], zones: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Of which zones every sample is a temperature near the last one.

        Within a block of minutes a zone may move by more: then every sample is looked at.
        """
        # Pairs of first and end for reduceat; what lies between two tags is reduced too, and passed over.
        ends = np.stack((block.start[here], block.start[here + 1]), axis=1).ravel()
        value = np.append(block.value, np.nan)
        bad = np.append(is_bad(block.quality), False)
        low, high = np.minimum.reduceat(value, ends)[::2], np.maximum.reduceat(value, ends)[::2]
        last = self._last[zones]
        inside = (low >= LOWEST_CEL) & (high <= self._highest()[zones])
        near = (np.abs(low - last) < _LEAP_K / 2) & (np.abs(high - last) < _LEAP_K / 2)
        plain: NDArray[np.bool_] = inside & near & ~self._off[zones]
        return plain & ~np.logical_or.reduceat(bad, ends)[::2]

    def _each(self, zone: int, block: Block, a: int, b: int) -> Iterator[tuple[int, int, Shown, float]]:
        quality = block.quality[a:b]
        lost = np.isin(quality & _CODE, _LOST)
        samples = zip(
            block.time_ns[a:b].tolist(),
            block.value[a:b].tolist(),
            is_bad(quality).tolist(),
            lost.tolist(),
            strict=True,
        )
        for time_ns, value, is_off, is_lost in samples:
            yield zone, time_ns, self._shown(zone, time_ns, value, is_off, is_lost), value

    def _highest(self) -> Floats:
        return np.fmin(HIGHEST_CEL, self._setpoint + OUT_OF_RANGE_K)

    def _shown(self, zone: int, time_ns: int, value: float, bad: bool, lost: bool) -> Shown:
        if lost or (isnan(value) and not bad):
            return Shown.UNKNOWN
        shown = Shown.HIGH if bad else self._by_value(zone, time_ns, value)
        self._off[zone] = shown is not Shown.TEMPERATURE
        if shown is Shown.TEMPERATURE:
            self._last[zone], self._last_ns[zone] = value, time_ns
        return shown

    def _by_value(self, zone: int, time_ns: int, value: float) -> Shown:
        if value > self._highest()[zone]:
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
