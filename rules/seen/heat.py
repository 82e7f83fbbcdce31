"""The heated zones of a line, all in one row of numbers: what ten seconds of their signals say.

Zones of one kind are each other's peers; those that touch are neighbours. Seen once for all rules.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from process.statistics import median_of_columns, slopes_of_columns
from rules.block import Block
from rules.line import LineFacts
from rules.seen.current_samples import CurrentSamples
from rules.seen.grid import array, numbers
from rules.seen.heat_tens import HeatTens
from rules.seen.heater_current import HeaterCurrent
from rules.seen.tens import TENS_S, Window

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ENDINGS = (".temp.pv", ".temp.sp", ".out", ".i", ".enabled.state", ".mode.state")
_LEAST_KNOWN = 5  # of the ten grid rows of a window
_RATE_WINDOWS = 13  # thirteen points span 120 s
_ON_WINDOWS = 3
_CHANGE_K = 0.5
_NEAR_K = 3.0
_ARRIVED_WINDOWS = 18
_LONGEST_NS = 1800 * NS
_NEVER = np.iinfo(np.int64).min // 2
_PAUSE_NS = int(3 * TENS_S * NS)
_WINDOW_NS = int(TENS_S * NS)
_FEW_SAMPLES = 3
OUT_OF_RANGE_K = 150.0
"""So far above its set-point no heater drives a zone: what reads it is broken. Dossier of this trade, B4."""
HIGHEST_CEL, LOWEST_CEL = 600.0, -30.0
"""What lies beyond is no temperature of a plastics machine. common practice, no source."""
ASKED_PERCENT = 8.0
"""In a switching period of ten seconds a heater at this output is on for nearly a second: it is seen."""


@dataclass(frozen=True, slots=True)
class ZoneKind:
    """Zones of one kind, which are each other's peers.

    Attributes:
        prefix: path before the place number.
        word: what a person calls one of them.
        alike: whether all have about the same power and mass.
        ring: whether the last one touches the first.
    """

    prefix: str
    word: str
    alike: bool = False
    ring: bool = False


KINDS = (
    ZoneKind("filter.plate", "Plate", alike=True, ring=True),
    ZoneKind("extruder.zone", "Barrel zone"),
    ZoneKind("die.zone", "Die zone", ring=True),
    ZoneKind("pump.zone", "Melt pump zone", alike=True),
    ZoneKind("filter.discharge", "Discharge block"),
)


class HeatedZones:
    """The line's zones that have a temperature and an output, in the order of their kinds and places.

    Attributes:
        subjects: each zone's path without its ending.
        names: each zone as it begins a sentence.
        kind: each zone's number in ``KINDS``, shape (zones,).
        peers: row z: which zones are of its kind, without itself, shape (zones, zones).
        neighbours: row z: which zones touch it.
        column: each signal's column in the grid, -1: the line has none, shape (signals, zones).
    """

    def __init__(self, column: Mapping[str, int]) -> None:
        found = [(n, place) for n, kind in enumerate(KINDS) for place in _places(kind, column)]
        self.subjects = tuple(KINDS[n].prefix + ("" if place is None else f".{place}") for n, place in found)
        self.names = tuple(KINDS[n].word + ("" if place is None else f" {place}") for n, place in found)
        self.kind = np.asarray([n for n, _ in found], dtype=np.intp)
        same = self.kind[:, None] == self.kind[None, :]
        self.peers: Flags = same & ~np.eye(len(found), dtype=np.bool_)
        self.alike: Flags = np.asarray([KINDS[n].alike for n, _ in found], dtype=np.bool_)
        self.neighbours = self._touching()
        columns = [[column.get(s + e, -1) for s in self.subjects] for e in ENDINGS]
        self.column = np.asarray(columns, dtype=np.intp).reshape(len(ENDINGS), len(found))

    def __len__(self) -> int:
        return len(self.subjects)

    def _touching(self) -> Flags:
        touching = np.zeros((len(self.kind), len(self.kind)), dtype=np.bool_)
        for n, kind in enumerate(KINDS):
            at = np.flatnonzero(self.kind == n).tolist()
            pairs = [*pairwise(at), *([(at[-1], at[0])] if kind.ring and len(at) > 2 else [])]
            for a, b in pairs:
                touching[a, b] = touching[b, a] = True
        return touching

    def tags(self, zone: int, *others: int) -> tuple[str, ...]:
        """The signals that show a zone, and the outputs of others."""
        own = tuple(self.subjects[zone] + e for e in ENDINGS[:5])
        return own + tuple(self.subjects[o] + ".out" for o in others)

    def of_peers(self, values: Floats, chosen: Flags) -> Floats:
        """For each zone the median of its chosen peers' values; NaN where there are none."""
        return _median(values, chosen, self.peers)

    def of_neighbours(self, values: Floats) -> Floats:
        """For each zone the mean of its neighbours' known values; NaN where there are none."""
        known = ~np.isnan(values)
        number = self.neighbours @ known.astype(float)
        total = self.neighbours @ np.where(known, values, 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean: Floats = np.where(number > 0, total / number, np.nan)
        return mean


class HeatFollower:
    """Follows the zones, ten seconds after ten seconds.

    Attributes:
        zones: which there are.
    """

    def __init__(self, facts: LineFacts, column: Mapping[str, int]) -> None:
        self.zones = zones = HeatedZones(column)
        plate_a = None if facts.melt_filter is None else facts.melt_filter.heater_a
        plates = np.asarray([s.startswith("filter.plate.") for s in zones.subjects], dtype=np.bool_)
        told_a = np.where(plates, np.nan if plate_a is None else plate_a, np.nan)
        self._current = HeaterCurrent(zones.peers & zones.alike[:, None], told_a)
        self._samples = CurrentSamples(zones.subjects)
        self._times: list[int] = []
        self._setpoint = np.full(len(zones), np.nan)
        self._changed_ns = np.full(len(zones), _NEVER, dtype=np.int64)
        self._near_run = np.zeros(len(zones), dtype=np.int64)
        self._temps = np.empty((0, len(self.zones)))
        self._asked = np.empty((0, len(self.zones)))  # current where asked for, the last windows

    def hear(self, block: Block) -> None:
        """Take the currents' samples, before the seconds that become certain with them."""
        self._samples.take(block)

    def follow(self, window: Window, heard: Flags) -> HeatTens:
        """Take the next ten seconds, and which columns' sources were heard throughout."""
        temp, setpoint, out, current, use, mode = self.zones.column
        now = window.time_ns
        setpoint_cel = _at(window.last, setpoint)
        most_cel = plausible(_at(window.high, temp), setpoint_cel)
        temp_cel = np.where(np.isnan(most_cel), np.nan, plausible(_at(window.mean, temp), setpoint_cel))
        measured = _at(heard, current, missing=False)
        sampled = self._samples.of(now - _WINDOW_NS, now)
        most_a = np.where(measured, np.fmax(_at(window.high, current), sampled.high_a), np.nan)
        least_a = np.where(measured, np.fmin(_at(window.low, current), sampled.low_a), np.nan)
        least_out = _at(window.low, out)
        in_use = np.where(use >= 0, _at(window.last, use), 1.0)
        mode_now = _at(window.last, mode)
        self._push(now, temp_cel, np.where(least_out > ASKED_PERCENT, most_a, np.nan))
        on_a = self._on_a()
        self._current.take(np.where(in_use >= 0.5, on_a, np.nan))
        return HeatTens(
            now,
            temp_cel,
            setpoint_cel,
            _at(window.mean, out),
            least_out,
            _at(window.high, out),
            most_a,
            least_a,
            on_a,
            self._current.usual_a,
            in_use,
            np.isnan(mode_now) | (mode_now != 1),
            (in_use >= 0.5) & ~np.isnan(temp_cel) & ~np.isnan(least_out),
            setpoint_cel - temp_cel,
            self._rate_k_min(),
            self._settling(now, setpoint_cel, temp_cel),
            np.where(sampled.count >= _FEW_SAMPLES, sampled.gap_s, _WINDOW_NS / NS),
        )

    def _push(self, now: int, temp_cel: Floats, asked_a: Floats) -> None:
        if self._times and now - self._times[-1] > _PAUSE_NS:
            self._times, self._temps, self._asked = [], self._temps[:0], self._asked[:0]
        self._times = [*self._times, now][-_RATE_WINDOWS:]
        self._temps = np.concatenate((self._temps, temp_cel[None, :]))[-_RATE_WINDOWS:]
        self._asked = np.concatenate((self._asked, asked_a[None, :]))[-_ON_WINDOWS:]

    def _settling(self, now: int, setpoint_cel: Floats, temp_cel: Floats) -> Flags:
        moved = np.abs(setpoint_cel - self._setpoint) > _CHANGE_K
        self._setpoint = np.where(np.isnan(setpoint_cel), self._setpoint, setpoint_cel)
        self._changed_ns[moved] = now
        near = np.abs(setpoint_cel - temp_cel) < _NEAR_K
        self._near_run = np.where(near & ~moved, self._near_run + 1, 0)
        arrived = self._near_run >= _ARRIVED_WINDOWS
        self._changed_ns[arrived | (now - self._changed_ns > _LONGEST_NS)] = _NEVER
        own = self._changed_ns > _NEVER
        settling: Flags = own | (self.zones.neighbours & own[None, :]).any(axis=1)
        return settling

    def _rate_k_min(self) -> Floats:
        minutes = np.asarray([(t - self._times[0]) / (60 * NS) for t in self._times])
        return slopes_of_columns(minutes, self._temps, least_points=_RATE_WINDOWS - 3)

    def _on_a(self) -> Floats:
        if len(self._asked) < _ON_WINDOWS:
            return np.full(len(self.zones), np.nan)
        highest: Floats = self._asked.max(axis=0)  # not known where one is not
        return highest

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "times": self._times,
            "temps": [numbers(r) for r in self._temps],
            "asked": [numbers(r) for r in self._asked],
            "current": self._current.save(),
            "samples": self._samples.save(),
            "setpoint": numbers(self._setpoint),
            "changed": self._changed_ns.tolist(),
            "near": self._near_run.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        size = len(self.zones)
        self._times = list(state["times"])
        self._temps = np.asarray([array(r) for r in state["temps"]]).reshape(len(self._times), size)
        self._asked = np.asarray([array(r) for r in state["asked"]]).reshape(len(state["asked"]), size)
        self._current.restore(state["current"])
        self._samples.restore(state["samples"])
        self._setpoint = array(state["setpoint"])
        self._changed_ns = np.asarray(state["changed"], dtype=np.int64)
        self._near_run = np.asarray(state["near"], dtype=np.int64)


def plausible(temp_cel: Floats, setpoint_cel: Floats) -> Floats:
    """The temperatures without those that only a broken sensor shows."""
    high = np.where(np.isnan(setpoint_cel), HIGHEST_CEL, setpoint_cel + OUT_OF_RANGE_K)
    with np.errstate(invalid="ignore"):
        beyond = (temp_cel > np.minimum(high, HIGHEST_CEL)) | (temp_cel < LOWEST_CEL)
    return np.where(beyond, np.nan, temp_cel)


def _places(kind: ZoneKind, column: Mapping[str, int]) -> Sequence[int | None]:
    """The place numbers of a kind's zones; None is the only zone of a kind without numbers."""
    single: list[int | None] = (
        [None] if {kind.prefix + ".temp.pv", kind.prefix + ".out"} <= set(column) else []
    )
    form = re.compile(re.escape(kind.prefix) + r"\.(\d+)\.temp\.pv")
    found = (form.fullmatch(path) for path in column)
    return single + sorted(
        int(m.group(1)) for m in found if m and f"{kind.prefix}.{m.group(1)}.out" in column
    )


def _at(values: NDArray[Any], column: NDArray[np.intp], missing: float = np.nan) -> NDArray[Any]:
    """The values of columns; ``missing`` where there is none."""
    return np.where(column >= 0, values[column], missing) if len(values) else np.full(len(column), missing)


def _median(values: Floats, chosen: Flags, of: Flags) -> Floats:
    taken = of & chosen[None, :] & ~np.isnan(values)[None, :]
    return median_of_columns(np.where(taken, values[None, :], np.nan).T)
