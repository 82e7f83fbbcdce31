"""Whether a zone's thermocouple has slipped out of its seat: it reads low and late, the zone is hotter.

Two signs. While it slips: the reading sags below the set-point though the heater draws its full current and
gives what is asked for. Afterwards everything looks right again, but the zone needs far more output than
usual and its neighbours less, for it warms them. A heater that lost elements shows the first without the
current; heat that is lost to the hall shows the second without the neighbours.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from process.heaters import missing_rate_k_min
from rules.detectors.heating.full_rates import full_rates_k_min
from rules.detectors.heating.usual_output import UsualOutput
from rules.detectors.heating.zones import Flags, Floats, HoldOutput, ZoneRule, sound_current
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episodes
from rules.seen.grid import array, numbers
from rules.seen.heat_tens import HeatTens
from rules.seen.line import LineState
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S

_START_S = 600.0
_SETTLE_S = 300.0
_BEYOND_HOLD_PERCENT = 20.0
_BELOW_K = 2.5
_LEAPT_K = 20.0  # farther below it does not sag: it leapt
_OVER_PERCENT = 5.0
_OFF_S = 600.0
_NEAR_POINTS = 8  # minutes at its set-point: what surrounds a zone that was cold takes as long


class ProbeDetached(ZoneRule):
    """Rule ``probe-detached``."""

    RULE = "probe-detached"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage, 0, 0)
        self.episodes = Episodes(0, _OFF_S)
        size = len(self.zones)
        self._full_k_min = full_rates_k_min(facts, self.zones)
        self._hold = HoldOutput(size)
        self._usual = UsualOutput(self.zones)
        self._sag_run = np.zeros(size, dtype=np.int64)
        self._before = np.full(size, np.nan)  # the output that held each zone before its finding

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say of each zone."""
        heat, line = tens.heat, tens.line
        why = _unsettled(line)
        yield from self.blinded(tens, why)
        self._usual.take(heat, line)
        # What held it before it began to sag is what it is compared with.
        self._hold.take(heat, (self._sag_run > 0) | self.standing())
        if why is not None:
            self._sag_run[:] = 0
            return
        sags = self._sags(heat)
        self._sag_run = np.where(sags, self._sag_run + 1, 0)
        sagged = self._sag_run * TENS_S >= self.values["sag_held_s"]
        shift, beside = self._usual.shift, self.zones.of_neighbours(self._usual.shift)
        near = self._usual.near_points >= _NEAR_POINTS
        weak = heat.on_a < heat.usual_a * self.values["current_share"]
        shifted = near & ~weak & (shift > self.values["own_percent"])
        shifted &= beside < -self.values["neighbours_percent"]
        standing = self.standing()
        self._before = np.where(standing, self._before, self._hold.percent)
        as_before = np.abs(heat.out - self._before) < _OVER_PERCENT
        clear = near & np.where(standing, as_before, np.abs(shift) < _OVER_PERCENT)
        holds = sagged | shifted
        for zone, begins in self.changes(heat, holds, holds | clear):
            yield self._said(zone, heat, beside, begins=begins, by_sag=bool(sagged[zone]))

    def _sags(self, heat: HeatTens) -> Flags:
        rate, hold, usable = heat.rate_k_min, self._hold.percent, heat.usable
        missing = missing_rate_k_min(heat.out, hold, self._full_k_min, rate)
        beside = missing - np.nan_to_num(self.zones.of_peers(missing, usable))
        below = heat.below_k - np.nan_to_num(self.zones.of_peers(heat.below_k, usable))
        flags: Flags = usable & ~heat.settling & sound_current(heat) & (beside > self.values["sag_k_min"])
        return flags & (below > _BELOW_K) & (below < _LEAPT_K) & (heat.out > hold + _BEYOND_HOLD_PERCENT)

    def _said(self, zone: int, heat: HeatTens, beside: Floats, *, begins: bool, by_sag: bool) -> Finding:
        subject, name = self.zones.subjects[zone], self.zones.names[zone]
        small = name[0].lower() + name[1:]
        usual = self._usual
        if not begins:
            sentence = f"{name} needs its usual output again."
        elif by_sag:
            sentence = (
                f"The reading of {small} sags to {heat.below_k[zone]:.1f} K below its set-point though its "
                f"heater draws its full current at {heat.out[zone]:.0f} %: its thermocouple reads low, or "
                "something cools it. If the thermocouple has slipped, the zone is hotter than it reads."
            )
        else:
            sentence = (
                f"{name} needs {usual.shift[zone]:.0f} % more output than usual to hold its set-point, and "
                f"its neighbours {-beside[zone]:.0f} % less: it warms them, so its thermocouple reads too "
                "low and the zone is hotter than it reads. By how much is not known."
            )
        figures = {
            **self.figures(zone, heat, self._hold.percent),
            "output more than usual": (usual.shift[zone], "%"),
            "neighbours' output more than usual": (beside[zone], "%"),
        }
        others = np.flatnonzero(self.zones.neighbours[zone]).tolist()
        return self.finding(
            subject,
            begins,
            heat.time_ns,
            sentence,
            onset_ns=heat.time_ns - int(self._sag_run[zone] * TENS_S * 1e9) if begins else None,
            tags=self.zones.tags(zone, *others),
            figures=figures,
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "hold": self._hold.save(),
            "usual": self._usual.save(),
            "sag": self._sag_run.tolist(),
            "before": numbers(self._before),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._hold.restore(state["hold"])
        self._usual.restore(state["usual"])
        self._sag_run = np.asarray(state["sag"], dtype=np.int64)
        self._before = array(state["before"])


def _unsettled(line: LineState) -> str | None:
    """Why no zone's need can be judged now."""
    if line.running is False:
        return "melt stands"
    return line.unsettled(_START_S, _SETTLE_S)
