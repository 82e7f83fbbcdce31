"""Whether screw or wiper start before all zones have soaked. Said at the start itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from historian.frame import NS
from rules.block import Block
from rules.detectors.heating.soak import SoakClock
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.rule import TensRule
from rules.seen.stage import Seen, Stage, Tens

SCREW, WIPER = "extruder.screw", "filter.wiper"
SCREW_SPEED, WIPER_STATE = "extruder.screw.speed.pv", "filter.wiper.state"
_TURNS_PER_MIN = 1.0
_MOVES = (1.0, 2.0)  # wiping, jogging
_AGAIN_NS = 600 * NS


class SoakShort(TensRule):
    """Rule ``soak-short``: an entry for each start; a second one within ten minutes is not said."""

    RULE = "soak-short"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        values = self.values
        # Cutting water cools the die at every start; what it holds is soon melt again.
        counted = np.asarray([not s.startswith("die.") for s in stage.heat.zones.subjects], dtype=np.bool_)
        self._clock = SoakClock(counted, values["band_k"], values["restart_k"])
        self._moved = {SCREW: False, WIPER: False}
        self._rest_seen = {SCREW: False, WIPER: False}
        self._told_ns: dict[str, int] = {}

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """What starts within the block, by the clock as it stood then."""
        seen = self.stage.see(block)
        found: list[Finding | Blind] = []
        starts = self._starts(seen)
        for tens in seen.tens:
            while starts and starts[0][0] <= tens.time_ns:
                found += self._judged(*starts.pop(0))
            found += self.judge(tens)
        for start in starts:
            found += self._judged(*start)
        return found

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """Nothing by itself: the clock goes on."""
        self._clock.take(tens.heat)
        why = None if self._clock.known else "the soak was not seen from its beginning"
        return self.blind.note(tens.time_ns, why)

    def _starts(self, seen: Seen) -> list[tuple[int, str]]:
        """When screw and wiper started from rest; the wiper counts while the screw is at rest."""
        if len(seen.time_ns) == 0:
            return []
        speed = self.stage.at(seen.value, SCREW_SPEED)
        turns = _filled(np.where(np.isnan(speed), np.nan, speed > _TURNS_PER_MIN), self._moved[SCREW])
        state = self.stage.at(seen.value, WIPER_STATE)
        moves = _filled(np.where(np.isnan(state), np.nan, np.isin(state, _MOVES)), self._moved[WIPER])
        found = []
        for subject, now in ((SCREW, turns), (WIPER, moves)):
            before = np.concatenate(([self._moved[subject]], now[:-1]))
            rising = np.flatnonzero(now & ~before)
            for n in rising.tolist():
                seen_at_rest = self._rest_seen[subject] or n > 0
                if seen_at_rest and (subject == SCREW or not turns[n]):
                    found.append((int(seen.time_ns[n]), subject))
            self._rest_seen[subject] |= bool((~now).any())
            self._moved[subject] = bool(now[-1])
        return sorted(found)

    def _judged(self, time_ns: int, subject: str) -> Iterable[Finding]:
        missing_s = self.values["soak_s"] - self._clock.seconds
        since_ns = time_ns - self._told_ns.get(subject, -_AGAIN_NS)
        if not self._clock.known or missing_s <= self.values["tolerance_s"] or since_ns < _AGAIN_NS:
            return
        self._told_ns[subject] = time_ns
        what = "The screw was started" if subject == SCREW else "The wiper was moved"
        least = f"{missing_s / 60:.0f} min of {self.values['soak_s'] / 60:.0f} are missing"
        sentence = (
            f"{what} before all zones had soaked: {least}. Probes read their set-points before the steel and "
            "the material behind them do; how cold they still are is not known."
        )
        figures = {
            "soaked": (self._clock.seconds / 60, "min"),
            "missing": (missing_s / 60, "min"),
            "soak wanted": (self.values["soak_s"] / 60, "min"),
        }
        tag = SCREW_SPEED if subject == SCREW else WIPER_STATE
        yield self.finding(subject, True, time_ns, sentence, tags=(tag,), figures=figures, momentary=True)

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {
            **super().save(),
            "clock": self._clock.save(),
            "moved": dict(self._moved),
            "rest": dict(self._rest_seen),
            "told": dict(self._told_ns),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._clock.restore(state["clock"])
        self._moved, self._rest_seen = dict(state["moved"]), dict(state["rest"])
        self._told_ns = dict(state["told"])


def _filled(flags: Any, before: bool) -> Any:
    """Flags with the last known one in place of NaN, shape (m,)."""
    known = ~np.isnan(flags)
    at = np.maximum.accumulate(np.where(known, np.arange(len(flags)), -1))
    return np.where(at >= 0, np.nan_to_num(flags)[np.maximum(at, 0)], before).astype(np.bool_)
