"""Whether melt runs through the line, judged from feed and screw speed."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any

from historian.frame import NS
from historian.tags import Tag
from rules.line import LineFacts

RUNNING_PATHS = ("doser.rate.pv", "extruder.screw.speed.pv", "filter.dp.calc")
_UNKNOWN, _STOPPED, _RUNS = 0, 1, 2
_TURNS_PER_MIN = 1.0
_FEED_SHARE = 0.2  # of the planned throughput
_LEAST_FEED_KG_H = 20.0
_LEAST_DP_BAR = 3.0
_UNSURE_NS = 30 * NS


class Running:
    """Follows, row by row, whether melt runs and since when.

    Running: the screw turns and the feed is above a fifth of the planned throughput; a line that has neither
    signal runs while there is a pressure difference. common practice, no source.
    """

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag]) -> None:
        planned = facts.planned_kg_h
        self._feed_kg_h = _LEAST_FEED_KG_H if planned is None else _FEED_SHARE * planned
        self._has_feed, self._has_speed = (p in tags for p in RUNNING_PATHS[:2])
        self._state = _UNKNOWN
        self._since = 0
        self._known = 0

    @property
    def runs(self) -> bool:
        """Whether melt runs."""
        return self._state == _RUNS

    @property
    def stopped(self) -> bool:
        """Whether it is known that no melt runs."""
        return self._state == _STOPPED

    def for_s(self, time_ns: int) -> float:
        """How long the present state has lasted."""
        return (time_ns - self._since) / NS

    def push(self, time_ns: int, feed_kg_h: float, speed_per_min: float, dp_bar: float) -> None:
        """Take the next row; a NaN is unknown, and after half a minute of it the state is unknown too."""
        state = self._judge(feed_kg_h, speed_per_min, dp_bar)
        if state != _UNKNOWN:
            self._known = time_ns
        elif time_ns - self._known <= _UNSURE_NS:
            return
        if state != self._state:
            self._state, self._since = state, time_ns

    def _judge(self, feed_kg_h: float, speed_per_min: float, dp_bar: float) -> int:
        signs = []
        if self._has_speed:
            signs.append((speed_per_min, _TURNS_PER_MIN))
        if self._has_feed:
            signs.append((feed_kg_h, self._feed_kg_h))
        if not signs:
            signs.append((dp_bar, _LEAST_DP_BAR))
        if any(value <= least for value, least in signs):
            return _STOPPED
        return _UNKNOWN if any(isnan(value) for value, _ in signs) else _RUNS

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {"state": self._state, "since": self._since, "known": self._known}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._state, self._since, self._known = state["state"], state["since"], state["known"]
