"""Whether the pressure before the filter comes near its limit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import isnan
from typing import Any

import numpy as np

from historian.frame import NS
from process.screen import Forecast, time_to_limit
from process.statistics import theil_sen
from rules.block import Block
from rules.detectors.filtering.log import or_nan, or_none
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episode
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens
from rules.words import minutes

_RISE_S = 30  # seconds over which it is seen to rise
_CONFIDENCE = 0.95

HEAD, INLET = "extruder.head.pressure.pv", "filter.inlet.pressure.pv"


class PressureHigh(TensRule):
    """Rule ``pressure-high``: the melt pressure before the filter is above its limit. Judged every second."""

    RULE = "pressure-high"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._path = HEAD if HEAD in stage.column else INLET
        self._episode = Episode(self.values["held_s"], self.values["gone_s"])
        self._melt_on_ns: int | None = None  # since when melt runs
        self._high_since: int | None = None
        self._lately: list[float] = []  # pressure of the last seconds

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What each second says."""
        seen = self.stage.see(block)
        for tens in seen.tens:
            line = tens.line
            self._melt_on_ns = tens.time_ns - int(line.running_s * NS) if line.running else None
        bar = self.stage.at(seen.value, self._path)
        high = bar > self.values["limit_bar"]
        if not (high.any() or self._episode.standing or self._episode.waits):
            self._high_since = None
            self._lately = [*self._lately, *bar.tolist()][-_RISE_S:]
            return ()
        gone = bar < self.values["limit_bar"] - self.values["dead_band_bar"]
        found: list[Finding | Blind] = []
        for n, time_ns in enumerate(seen.time_ns.tolist()):
            self._high_since = (self._high_since or time_ns) if high[n] else None
            holds = None if np.isnan(bar[n]) else self._holds(time_ns, high=bool(high[n]), gone=bool(gone[n]))
            change = self._episode.judge(time_ns, holds)
            self._lately = [*self._lately, float(bar[n])][-_RISE_S:]
            if change:
                found.append(self._said(time_ns, float(bar[n]), active=change > 0))
        return found

    def _holds(self, time_ns: int, *, high: bool, gone: bool) -> bool:
        """A peak of cold melt at the start passes by itself; one that stays does not."""
        if self._episode.standing:
            return not gone
        if not high or self._melt_on_ns is None or self._high_since is None:
            return high
        starts = time_ns - self._melt_on_ns < self.values["start_s"] * NS
        longer_s = self.values["start_held_s"] - self.values["held_s"] if starts else 0.0
        return time_ns - self._high_since >= longer_s * NS

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """Nothing more: each second is judged."""
        return ()

    def _ahead(self) -> Forecast | None:
        """When the machine's own trip is reached, going on like the last half minute; None: no sure rise."""
        known = [(n, bar) for n, bar in enumerate(self._lately) if not isnan(bar)]
        if len(known) < _RISE_S // 2:
            return None
        seconds, bars = zip(*known, strict=True)
        return time_to_limit(bars[-1], self.values["trip_bar"], theil_sen(seconds, bars, _CONFIDENCE))

    def _said(self, time_ns: int, bar: float, *, active: bool) -> Finding:
        limit, trip = self.values["limit_bar"], self.values["trip_bar"]
        figures = {"pressure": (bar, "bar"), "limit": (limit, "bar")}
        ahead = self._ahead() if active else None
        if ahead is not None and ahead.after_s > 0:
            figures["to the trip"] = (ahead.after_s / 60, "min")
            figures["to the trip, earliest"] = (ahead.earliest_s / 60, "min")
            figures["to the trip, latest"] = (ahead.latest_s / 60, "min")
        words = _words(ahead, trip)
        sentence = (
            f"The melt pressure before the filter is {bar:.0f} bar, above {limit:.0f} bar{words}. "
            "Whether and when the machine trips is its own affair."
            if active
            else f"The melt pressure before the filter is {bar:.0f} bar, below {limit:.0f} bar again."
        )
        return self.finding(
            self._path.removesuffix(".pv"),
            active,
            time_ns,
            sentence,
            onset_ns=self._episode.onset_ns,
            tags=(self._path, "filter.dp.calc", "filter.wiper.state"),
            figures=figures,
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        kept = {
            "melt_on": self._melt_on_ns,
            "high_since": self._high_since,
            "lately": [or_none(v) for v in self._lately],
        }
        return {**super().save(), **kept, "episode": self._episode.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._episode.restore(state["episode"])
        self._melt_on_ns, self._high_since = state["melt_on"], state["high_since"]
        self._lately = [or_nan(v) for v in state["lately"]]


def _words(ahead: Forecast | None, trip_bar: float) -> str:
    if ahead is None or ahead.after_s == 0:
        return ""
    span = f"{minutes(ahead.earliest_s)} to {minutes(ahead.latest_s)}"
    return (
        f"; going on like this it reaches {trip_bar:.0f} bar in about {minutes(ahead.after_s)} min ({span})"
    )
