"""Whether the supply of the heaters is whole: a phase gone, or its voltage low.

Several heaters that lose their current within half a minute do not burn out together: it is what they share.
All heaters that draw less by the same share show a low voltage. Needs the heaters' currents.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from historian.frame import NS
from rules.detectors.heating.together import lost_together
from rules.detectors.heating.zones import Flags, ZoneRule, currents, named
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.heat_tens import HeatTens
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S
from rules.words import count

_PHASE, _VOLTAGE = "heating.phases", "heating.voltage"
_LOST_WINDOWS = 2
_CLEAR_WINDOWS = 6
_LEAST_ZONES = 3
_NAMED = 5
_PHASES = 3


class HeaterSupply(ZoneRule):
    """Rule ``heater-supply``."""

    RULE = "heater-supply"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        size = len(self.zones)
        self._runs = np.zeros(size, dtype=np.int64)
        self._lost = np.zeros(size, dtype=np.bool_)
        self._back_run = 0
        self._sags = False
        self._other_run = 0  # tens of seconds in which it was otherwise
        self._share = 1.0

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say."""
        yield from self.blinded(tens)
        heat = tens.heat
        known, none, flows = currents(heat, self.values["asked_percent"], self.values["current_share"])
        self._runs = np.where(none, self._runs + 1, 0)
        yield from self._phases(heat, known, flows)
        yield from self._voltage(heat)

    def _phases(self, heat: HeatTens, known: Flags, flows: Flags) -> Iterable[Finding]:
        if self._lost.any():
            back = self._lost & flows
            self._back_run = self._back_run + 1 if 2 * back.sum() > self._lost.sum() else 0
            if self._back_run >= _CLEAR_WINDOWS:
                self._lost[:] = False
                self._back_run = 0
                yield self._said(_PHASE, heat, "The heaters draw current again.", (), active=False)
            return
        together = lost_together(self._runs) & (self._runs >= _LOST_WINDOWS)
        if together.sum() < self.values["zones"]:
            return
        self._lost = lost_together(self._runs)
        zones = np.flatnonzero(self._lost).tolist()
        sentence = self._what(zones, int(known.sum()))
        onset_ns = heat.time_ns - int(self._runs[self._lost].max() * TENS_S * NS)
        yield self._said(_PHASE, heat, sentence, zones, active=True, onset_ns=onset_ns)

    def _what(self, zones: list[int], asking: int) -> str:
        if len(zones) == asking:
            return (
                f"None of the {count(asking)} zones that ask for heat draws current. Whether the supply, the "
                "main contactor or the current measurement failed is not known."
            )
        names = [self.zones.names[z] for z in zones]
        some = (
            named(names)
            if len(zones) <= _NAMED
            else f"{named(names[:_NAMED])} and {len(zones) - _NAMED} more"
        )
        places = {int(n) % _PHASES for n in (x.rsplit(" ", 1)[-1] for x in names) if n.isdigit()}
        like = (
            "it is every third zone, as when a phase of the supply is gone"
            if len(places) == 1
            else "what they have in common, a phase, a fuse or a contactor, is not known"
        )
        return (
            f"{count(len(zones)).capitalize()} heaters lost their current within half a minute, though asked "
            f"for: {some}; {like}."
        )

    def _voltage(self, heat: HeatTens) -> Iterable[Finding]:
        share = np.where(heat.usable, heat.on_a / heat.usual_a, np.nan)
        share = share[share > self.values["current_share"]]
        if len(share) < _LEAST_ZONES:
            return
        self._share = float(np.median(share))
        least = 1 - self.values["sag_percent"] / 100
        # What is over is a quarter above: it does not come and go about one value.
        limit = least + (1 - least) / 4 if self._sags else least
        self._other_run = 0 if (self._share < limit) == self._sags else self._other_run + 1
        if self._other_run > self.values["sag_held_s"] / TENS_S:
            self._sags = not self._sags
            zones = range(len(self.zones)) if self._sags else ()
            onset_ns = heat.time_ns - int(self._other_run * TENS_S * NS)
            self._other_run = 0
            yield self._said(_VOLTAGE, heat, self._how_low(), zones, active=self._sags, onset_ns=onset_ns)

    def _how_low(self) -> str:
        if not self._sags:
            return "The heaters draw their usual current again."
        percent, power = 100 * self._share, 100 * self._share**2
        return (
            f"All heaters draw about {percent:.0f} % of their usual current: the voltage of their supply is "
            f"low, and with it their power, to about {power:.0f} %. What pulls it down is not known."
        )

    def _said(
        self,
        subject: str,
        heat: HeatTens,
        sentence: str,
        zones: Iterable[int],
        *,
        active: bool,
        onset_ns: int | None = None,
    ) -> Finding:
        tags = tuple(f"{self.zones.subjects[z]}{e}" for z in zones for e in (".i", ".out"))
        figures = {"share of the usual current": (100 * self._share, "%")} if subject == _VOLTAGE else {}
        return self.finding(
            subject, active, heat.time_ns, sentence, onset_ns=onset_ns, tags=tags, figures=figures
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {
            **super().save(),
            "runs": self._runs.tolist(),
            "lost": self._lost.tolist(),
            "back": self._back_run,
            "sag": [self._sags, self._other_run],
            "share": self._share,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._runs = np.asarray(state["runs"], dtype=np.int64)
        self._lost = np.asarray(state["lost"], dtype=np.bool_)
        self._back_run, self._share = state["back"], state["share"]
        self._sags, self._other_run = state["sag"]
