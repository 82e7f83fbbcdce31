"""Whether the filter's plates are unevenly warm while melt is moved through it.

The plate that lies farthest from the others is left out: one alone has a failed heater or probe, and rules of
its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from rules.detectors.heating.zones import ZoneRule
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episode
from rules.seen.heat_tens import HeatTens
from rules.seen.stage import Stage, Tens

SUBJECT = "filter.plate"
_LEAST_PLATES = 4


class PlatesUneven(ZoneRule):
    """Rule ``plates-uneven``: the spread of the plates in use but one, each against its set-point."""

    RULE = "plates-uneven"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        self._plates = np.asarray([s.startswith(SUBJECT + ".") for s in self.zones.subjects], dtype=np.bool_)
        self._episode = Episode(self.values["held_s"], self.values["clear_s"])

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say."""
        heat = tens.heat
        judged = self._plates & heat.usable & ~heat.settling
        moving = tens.line.running is True or tens.line.wiped_s == 0
        why = None if moving else "melt stands"
        if moving and judged.sum() < _LEAST_PLATES:
            why = "too few plates are known, or a set-point was changed"
        yield from self.blind.note(tens.time_ns, why)
        if why is not None:
            self._episode.judge(tens.time_ns, None)
            return
        above = np.where(judged, -heat.below_k, np.nan)
        above[int(np.nanargmax(np.abs(above - np.nanmedian(above))))] = np.nan
        spread_k = float(np.nanmax(above) - np.nanmin(above))
        limit_k = self.values["spread_k"] - (self.values["band_k"] if self._episode.standing else 0)
        change = self._episode.judge(tens.time_ns, spread_k > limit_k)
        if change:
            yield self._said(heat, above, spread_k, active=change > 0)

    def _said(self, heat: HeatTens, above: Any, spread_k: float, *, active: bool) -> Finding:
        warm, cold = int(np.nanargmax(above)), int(np.nanargmin(above))
        names = self.zones.names
        sentence = (
            f"The plates differ by {spread_k:.1f} K while melt is moved: {names[cold].lower()} is coldest, "
            f"{names[warm].lower()} warmest, each against its set-point. Where the melt runs colder it is "
            "stiffer; how the steel behind the probes stands is not known."
            if active
            else f"The plates differ by {spread_k:.1f} K again, as they may."
        )
        figures = {
            "spread": (spread_k, "K"),
            "coldest against its set-point": (float(above[cold]), "K"),
            "warmest against its set-point": (float(above[warm]), "K"),
        }
        tags = tuple(self.zones.subjects[z] + ".temp.pv" for z in (cold, warm))
        onset_ns = self._episode.onset_ns
        return self.finding(
            SUBJECT, active, heat.time_ns, sentence, onset_ns=onset_ns, tags=tags, figures=figures
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {**super().save(), "spread": self._episode.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._episode.restore(state["spread"])
