"""Whether the pressure before the filter comes near its limit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from rules.block import Block
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episode
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens

HEAD, INLET = "extruder.head.pressure.pv", "filter.inlet.pressure.pv"


class PressureHigh(TensRule):
    """Rule ``pressure-high``: the melt pressure before the filter is above its limit. Judged every second."""

    RULE = "pressure-high"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._path = HEAD if HEAD in stage.column else INLET
        self._episode = Episode(self.values["held_s"], self.values["gone_s"])

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What each second says."""
        seen = self.stage.see(block)
        bar = self.stage.at(seen.value, self._path)
        high = bar > self.values["limit_bar"]
        if not (high.any() or self._episode.standing or self._episode.waits):
            return ()
        gone = bar < self.values["limit_bar"] - self.values["dead_band_bar"]
        found: list[Finding | Blind] = []
        for n, time_ns in enumerate(seen.time_ns.tolist()):
            holds = None if np.isnan(bar[n]) else bool(not gone[n] if self._episode.standing else high[n])
            change = self._episode.judge(time_ns, holds)
            if change:
                found.append(self._said(time_ns, float(bar[n]), active=change > 0))
        return found

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """Nothing more: each second is judged."""
        return ()

    def _said(self, time_ns: int, bar: float, *, active: bool) -> Finding:
        limit = self.values["limit_bar"]
        sentence = (
            f"The melt pressure before the filter is {bar:.0f} bar, above {limit:.0f} bar. Whether and when "
            "the machine trips is its own affair."
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
            figures={"pressure": (bar, "bar"), "limit": (limit, "bar")},
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {**super().save(), "episode": self._episode.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._episode.restore(state["episode"])
