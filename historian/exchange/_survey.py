"""The first pass over a file: the time of every row, which rows repeat, and where rows are missing."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from historian.exchange._clock import stamp_reader, to_utc
from historian.exchange._plan import Plan
from historian.exchange._table import Row, shown
from historian.exchange.mapping import CsvMapping
from historian.exchange.report import Hole

_TAKEN, _SHORT, _NO_TIME, _SKIPPED, _UNMAPPED, _LONG = range(6)
UNMAPPED: Final = _UNMAPPED
# Holes are told from this many usual distances on, when the mapping does not say.
_USUAL = 5


@dataclass(frozen=True, slots=True)
class Survey:
    """What the first pass found.

    Attributes:
        time_ns: source time of each row, UTC nanoseconds; only where ``fate`` is 0, shape (n,).
        fate: 0 for a row that is taken, otherwise why not, shape (n,).
        group: column of the plan in the long form, 0 in the wide one, shape (n,).
        final: row → the last row with the same group and time, for rows that stand several times.
        holes: by group, in order of time.
        doubtful: (first, last) row in stretches of the hour that passes twice, where the order does not say.
        unmapped: names of the long form without a tag, and how many rows they have.
    """

    time_ns: NDArray[np.int64]
    fate: NDArray[np.uint8]
    group: NDArray[np.int32]
    final: dict[int, int]
    holes: dict[int, list[Hole]]
    doubtful: list[tuple[int, int]]
    unmapped: dict[str, int]

    def reason(self, row: int, mapping: CsvMapping, plan: Plan, cells: list[str]) -> str:
        """Why a row is not taken."""
        fate = int(self.fate[row])
        if fate == _SHORT:
            return f"{len(cells)} cells where at least {plan.width} are needed"
        if fate == _LONG:
            return f"{len(cells)} cells, more than the header has: a separator within a cell?"
        stamp = shown(_stamp(plan, cells), 60)
        if fate == _SKIPPED:
            return (
                f"'{stamp}' does not exist in {mapping.time.zone}: the clock was put forward. If the "
                "logger's is not, give its fixed zone, such as UTC or Etc/GMT-1"
            )
        return f"'{stamp}' is no time in the form {mapping.time.format}"


def data_rows(table: Iterable[Row], first_line: int) -> Iterator[Row]:
    """The rows of data, blank ones left out."""
    return (row for row in table if row.line >= first_line and row.cells)


def survey(
    rows: Iterable[Row], mapping: CsvMapping, plan: Plan, width: int, tick: Callable[[], None]
) -> Survey:
    """Go over the rows once.

    Args:
        width: cells in the header; 0 when there is none. A longer row is refused unless the rest is empty.
        tick: called now and then, for a progress bar.
    """
    read = stamp_reader(mapping.time.format)
    names = {c.name: k for k, c in enumerate(plan.columns)} if mapping.long else {}
    wall, fate, group, utc = array("q"), array("B"), array("i"), array("B")
    unmapped: dict[str, int] = {}
    for number, row in enumerate(rows):
        place, cells = 0, row.cells
        found = _fate(cells, plan.width, width)
        if found == _TAKEN and mapping.long:
            name = shown(cells[plan.long["name"]].strip(), 200)
            place = names.get(name, -1)
            if place < 0:
                unmapped[name] = unmapped.get(name, 0) + 1
                found = _UNMAPPED
        stamp = read(_stamp(plan, cells)) if found == _TAKEN else (0, True)
        if stamp is None:
            found, stamp = _NO_TIME, (0, True)
        wall.append(stamp[0])
        utc.append(stamp[1])
        fate.append(found)
        group.append(max(place, 0))
        if number % 4096 == 0:
            tick()
    return _finish(
        np.array(wall, np.int64), np.array(fate, np.uint8), np.array(group, np.int32),
        np.array(utc, np.bool_), unmapped, mapping,
    )  # fmt: skip


def _fate(cells: list[str], needed: int, width: int) -> int:
    if len(cells) < needed:
        return _SHORT
    if width and len(cells) > width and any(c.strip() for c in cells[width:]):
        return _LONG
    return _TAKEN


def _stamp(plan: Plan, cells: list[str]) -> str:
    return " ".join(cells[k].strip() for k in plan.time if k < len(cells))


def _finish(
    wall: NDArray[np.int64],
    fate: NDArray[np.uint8],
    group: NDArray[np.int32],
    utc: NDArray[np.bool_],
    unmapped: dict[str, int],
    mapping: CsvMapping,
) -> Survey:
    local = np.flatnonzero((fate == _TAKEN) & ~utc)
    doubtful: list[tuple[int, int]] = []
    if len(local):
        resolved = to_utc(wall[local], ZoneInfo(mapping.time.zone), mapping.time.fold, group[local])
        wall[local] = resolved.time_ns
        fate[local[resolved.missing]] = _SKIPPED
        doubtful = _runs(local[resolved.doubtful])
    taken = np.flatnonzero(fate == _TAKEN)
    order = taken[np.lexsort((taken, wall[taken], group[taken]))]
    return Survey(
        wall, fate, group, _finals(order, wall, group), _holes(order, wall, group, mapping.time.gap_ns),
        doubtful, unmapped,
    )  # fmt: skip


def _runs(rows: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Rows in a row as (first, last)."""
    if len(rows) == 0:
        return []
    parts = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    return [(int(p[0]), int(p[-1])) for p in parts]


def _finals(order: NDArray[np.intp], time_ns: NDArray[np.int64], group: NDArray[np.int32]) -> dict[int, int]:
    """The last row of each lot with the same group and time, for the rows of lots of several."""
    alike = (np.diff(time_ns[order]) == 0) & (np.diff(group[order]) == 0)
    found: dict[int, int] = {}
    for k in np.flatnonzero(alike)[::-1].tolist():
        last = int(order[k + 1])
        final = found.setdefault(last, last)
        found[int(order[k])] = final
    return found


def _holes(
    order: NDArray[np.intp], time_ns: NDArray[np.int64], group: NDArray[np.int32], gap_ns: int
) -> dict[int, list[Hole]]:
    holes: dict[int, list[Hole]] = {}
    edges = np.flatnonzero(np.diff(group[order])) + 1
    for part in np.split(order, edges):
        times = time_ns[part]
        steps = np.diff(times)
        if not (steps > 0).any():
            continue
        period = int(np.median(steps[steps > 0]))
        long = np.flatnonzero(steps > (gap_ns or _USUAL * period))
        if len(long):
            holes[int(group[part[0]])] = [Hole(int(times[k]), int(times[k + 1]), period) for k in long]
    return holes
