"""The melt filter's signals row by row: pressure difference, wiper, die pressure, feed and screw."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np

from historian.tags import Tag
from rules.block import Block
from rules.detectors._grid import Grid

DP = "filter.dp.calc"
INLET = "filter.inlet.pressure.pv"
OUTLET = "filter.outlet.pressure.pv"
WIPER = "filter.wiper.state"
DIE = "die.pressure.pv"
FEED = "doser.rate.pv"
FEED_SP = "doser.rate.sp"
SPEED = "extruder.screw.speed.pv"
SPEED_SP = "extruder.screw.speed.sp"

PARKED = 0.0
WIPING = 1.0


class FilterRow(NamedTuple):
    """One second of the filter; NaN where a signal is bad, unknown or not there."""

    time_ns: int
    dp_bar: float
    wiper: float
    die_bar: float
    feed_kg_h: float
    feed_sp_kg_h: float
    speed_per_min: float
    speed_sp_per_min: float


def has_filter_signals(tags: Mapping[str, Tag]) -> bool:
    """Whether the line has a pressure difference (or both pressures) and the wiper's state."""
    return WIPER in tags and (DP in tags or (INLET in tags and OUTLET in tags))


def pressure_tags(tags: Mapping[str, Tag]) -> tuple[str, ...]:
    """The signals that show the pressure difference."""
    return (DP,) if DP in tags else (INLET, OUTLET)


class FilterRows:
    """Cuts blocks into rows of one second."""

    def __init__(self, tags: Mapping[str, Tag]) -> None:
        wanted = (DP, INLET, OUTLET, WIPER, DIE, FEED, FEED_SP, SPEED, SPEED_SP)
        skip = {INLET, OUTLET} if DP in tags else {DP}
        paths = [p for p in wanted if p in tags and p not in skip]
        self._grid = Grid(paths, tags)
        self._columns = {p: i for i, p in enumerate(paths)}

    def of(self, block: Block) -> Iterator[FilterRow]:
        """The rows that became certain with this block."""
        rows = self._grid.rows(block)
        if len(rows.time_ns) == 0:
            return
        nothing = np.full(len(rows.time_ns), np.nan)

        def column(path: str) -> Any:
            at = self._columns.get(path)
            return nothing if at is None else rows.value[:, at]

        dp = column(DP) if DP in self._columns else column(INLET) - column(OUTLET)
        signals = (dp, *(column(p) for p in (WIPER, DIE, FEED, FEED_SP, SPEED, SPEED_SP)))
        for row in zip(rows.time_ns.tolist(), *(s.tolist() for s in signals), strict=True):
            yield FilterRow(*row)

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return self._grid.save()

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._grid.restore(state)
