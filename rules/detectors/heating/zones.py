"""The heated zones of a line by group, and what ten seconds of their signals say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from process.statistics import median_of_columns, slopes_of_columns
from rules.seen.grid import array, numbers

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

WINDOW_S = 10.0
ENDINGS = (".temp.pv", ".temp.sp", ".out", ".i", ".enabled.state")
_LEAST_KNOWN = 5  # of the ten grid rows of a window
_RATE_WINDOWS = 13  # thirteen points span 120 s
_CLOSE_K = 2.0
_STEADY_K_MIN = 0.3
_LEARN_WINDOWS = 60
_LEARNT_FROM = 30
_ON_A = 0.3
_FULL_OUT = 95.0


@dataclass(frozen=True, slots=True)
class ZoneGroup:
    """Zones of one kind, which are each other's peers.

    Attributes:
        prefix: path before the place number.
        word: what a person calls one of them.
        places: their place numbers.
        full_k_min: heating rate at full output without losses.
        nominal_a: heater current while on; NaN when it has to be learnt.
        alike: whether all have about the same power and mass.
    """

    prefix: str
    word: str
    places: tuple[int, ...]
    full_k_min: float
    nominal_a: float
    alike: bool

    def subject(self, zone: int) -> str:
        """The zone's path without its ending."""
        return f"{self.prefix}.{self.places[zone]}"

    def name(self, zone: int) -> str:
        """The zone as it begins a sentence."""
        return f"{self.word} {self.places[zone]}"

    def columns(self, column: Mapping[str, int]) -> NDArray[np.intp]:
        """Each signal's column in the stage's grid (-1: the line has none), shape (5, zones)."""
        zones = range(len(self.places))
        found = [[column.get(self.subject(z) + ending, -1) for z in zones] for ending in ENDINGS]
        return np.asarray(found, dtype=np.intp)


@dataclass(frozen=True, slots=True)
class ZoneTens:
    """Ten seconds of a group; arrays of shape (zones,), NaN where not known.

    Attributes:
        temp_cel, setpoint_cel: mean, last.
        out, least_out: controller output, mean and minimum, %.
        current_a: the highest in the window; NaN when unknown throughout.
        in_use: 1 in use, 0 taken out, NaN unknown.
        usable: whether in use, with known temperature and output.
        below_k: how far below its set-point, K.
    """

    time_ns: int
    temp_cel: Floats
    setpoint_cel: Floats
    out: Floats
    least_out: Floats
    current_a: Floats
    in_use: Floats
    usable: Flags
    below_k: Floats

    @classmethod
    def of(cls, time_ns: int, rows: Floats, column: NDArray[np.intp]) -> ZoneTens:
        """From grid rows, shape (k, paths)."""
        widened = np.concatenate((rows, np.full((len(rows), 1), np.nan)), axis=1)
        temp, setpoint, out, current, use = (widened[:, c] for c in column)
        known = np.sum(~np.isnan(temp), axis=0) >= _LEAST_KNOWN
        asked = np.sum(~np.isnan(out), axis=0) >= _LEAST_KNOWN
        in_use = np.where(column[4] >= 0, use[-1], 1.0)
        mean_cel = np.where(known, _mean(temp), np.nan)
        return cls(
            time_ns,
            mean_cel,
            setpoint[-1],
            np.where(asked, _mean(out), np.nan),
            np.where(asked, np.min(np.where(np.isnan(out), np.inf, out), axis=0), np.nan),
            _highest(current),
            in_use,
            (in_use >= 0.5) & known & asked,
            setpoint[-1] - mean_cel,
        )


class Learner:
    """What a group has shown so far: warming rate now, duty that holds, current while on.

    The hold duty is learnt only while a zone stands at its set-point.

    Attributes:
        rate_k_min: warming over the last two minutes.
        nominal_a: current while on.
    """

    def __init__(self, zones: int, nominal_a: float) -> None:
        self._given_a = nominal_a
        self._times: list[int] = []
        self._temps = np.empty((0, zones))
        self._holds = np.full((_LEARN_WINDOWS, zones), np.nan)
        self._currents = np.full((_LEARN_WINDOWS, zones), np.nan)
        self._hold_count = np.zeros(zones, dtype=np.int64)
        self._current_count = np.zeros(zones, dtype=np.int64)
        self.rate_k_min = np.full(zones, np.nan)
        self.nominal_a = np.full(zones, nominal_a)

    def take(self, tens: ZoneTens, asked_percent: float, frozen: Flags) -> None:
        """Learn from ten seconds; nothing of ``frozen`` zones."""
        if self._times and tens.time_ns - self._times[-1] > 3 * WINDOW_S * NS:
            self._times, self._temps = [], self._temps[:0]
        self._times = [*self._times, tens.time_ns][-_RATE_WINDOWS:]
        self._temps = np.concatenate((self._temps, tens.temp_cel[None, :]))[-_RATE_WINDOWS:]
        minutes = np.asarray([(t - self._times[0]) / (60 * NS) for t in self._times])
        self.rate_k_min = slopes_of_columns(minutes, self._temps, least_points=_RATE_WINDOWS - 3)
        sound = tens.usable & ~frozen
        holds = sound & (np.abs(tens.below_k) < _CLOSE_K) & (np.abs(self.rate_k_min) < _STEADY_K_MIN)
        _put(self._holds, self._hold_count, holds, tens.out)
        flows = sound & (tens.least_out > asked_percent) & (tens.current_a > _ON_A)
        if _put(self._currents, self._current_count, flows, tens.current_a):
            self.nominal_a = self._nominal_a()

    @property
    def hold_percent(self) -> Floats:
        """The duty that held each zone of late; NaN before five minutes of it."""
        return np.where(self._hold_count >= _LEARNT_FROM, median_of_columns(self._holds), np.nan)

    def _nominal_a(self) -> Floats:
        """Current of each zone while on: as told, else as seen, else as seen at its peers."""
        if not np.isnan(self._given_a):
            return np.full(self._currents.shape[1], self._given_a)
        own = np.where(self._current_count >= 6, median_of_columns(self._currents), np.nan)
        peers = own[~np.isnan(own)]
        return np.where(np.isnan(own), np.median(peers), own) if len(peers) else own

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "times": self._times,
            "temps": [numbers(r) for r in self._temps],
            "holds": [numbers(r) for r in self._holds],
            "currents": [numbers(r) for r in self._currents],
            "counts": [self._hold_count.tolist(), self._current_count.tolist()],
            "rate": numbers(self.rate_k_min),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        zones = self._holds.shape[1]
        self._times = list(state["times"])
        self._temps = np.asarray([array(r) for r in state["temps"]]).reshape(-1, zones)
        self._holds = np.asarray([array(r) for r in state["holds"]]).reshape(-1, zones)
        self._currents = np.asarray([array(r) for r in state["currents"]]).reshape(-1, zones)
        self._hold_count, self._current_count = (np.asarray(c, dtype=np.int64) for c in state["counts"])
        self.rate_k_min = array(state["rate"])
        self.nominal_a = self._nominal_a()


def median_where(values: Floats, chosen: Flags) -> float:
    """The median of the chosen known values; NaN when there are none."""
    known = values[chosen & ~np.isnan(values)]
    return float(np.median(known)) if len(known) else float("nan")


def full_output(tens: ZoneTens) -> Flags:
    """Which zones the controller gives all it has."""
    return tens.least_out >= _FULL_OUT


def _put(ring: Floats, count: NDArray[np.int64], where: Flags, values: Floats) -> bool:
    """Write into each column's ring, in place, where asked; gives whether anything was written."""
    at = np.flatnonzero(where)
    ring[count[at] % len(ring), at] = values[at]
    count[at] += 1
    return len(at) > 0


def _mean(values: Floats) -> Floats:
    known = ~np.isnan(values)
    mean: Floats = np.sum(np.where(known, values, 0.0), axis=0) / np.maximum(np.sum(known, axis=0), 1)
    return mean


def _highest(values: Floats) -> Floats:
    highest: Floats = np.max(np.where(np.isnan(values), -np.inf, values), axis=0)
    return np.where(np.isinf(highest), np.nan, highest)
