"""The melt filter's signals row by row: pressure difference, wiper, die pressure, feed and screw."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import NamedTuple

from historian.tags import Tag
from rules.block import Block
from rules.seen.stage import Stage

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


def pressure_tags(tags: Collection[str]) -> tuple[str, ...]:
    """The signals that show the pressure difference."""
    return (DP,) if DP in tags else (INLET, OUTLET)


class FilterRows:
    """The filter's rows of one second."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage

    def of(self, block: Block) -> Iterator[FilterRow]:
        """The rows that became certain with this block."""
        stage, seen = self._stage, self._stage.see(block)
        others = (stage.at(seen.value, p) for p in (WIPER, DIE, FEED, FEED_SP, SPEED, SPEED_SP))
        signals = (stage.dp_bar(seen.value), *others)
        for row in zip(seen.time_ns.tolist(), *(s.tolist() for s in signals), strict=True):
            yield FilterRow(*row)
