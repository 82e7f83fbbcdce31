"""Whether screw or wiper start before all zones have soaked. Said at the start itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import isnan
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
        self._moves: dict[str, bool | None] = {SCREW: None, WIPER: None}  # None: not yet known
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
        speed = self.stage.at(seen.value, SCREW_SPEED).tolist()
        state = self.stage.at(seen.value, WIPER_STATE).tolist()
        found = []
        for time_ns, turns, moves in zip(seen.time_ns.tolist(), speed, state, strict=True):
            if not isnan(turns) and self._begins(SCREW, turns > _TURNS_PER_MIN):
                found.append((time_ns, SCREW))
            if not isnan(moves) and self._begins(WIPER, moves in _MOVES) and not self._moves[SCREW]:
                found.append((time_ns, WIPER))
        return found

    def _begins(self, subject: str, now: bool) -> bool:
        """Whether it moves and has been seen at rest before."""
        before, self._moves[subject] = self._moves.get(subject), now
        return now and before is False

    def _judged(self, time_ns: int, subject: str) -> Iterable[Finding]:
        alone = self._clock.from_cold and self._clock.some_out
        wanted_s = self.values["soak_s"] * (self.values["degraded_factor"] if alone else 1.0)
        missing_s = wanted_s - self._clock.seconds
        since_ns = time_ns - self._told_ns.get(subject, -_AGAIN_NS)
        if not self._clock.known or missing_s <= self.values["tolerance_s"] or since_ns < _AGAIN_NS:
            return
        self._told_ns[subject] = time_ns
        what = "The screw was started" if subject == SCREW else "The wiper was moved"
        least = f"{missing_s / 60:.0f} min of {wanted_s / 60:.0f} are missing"
        if alone:
            least += ", for a zone is out of use and was cold"
        sentence = (
            f"{what} before all zones had soaked: {least}. Probes read their set-points before the steel and "
            "the material behind them do; how cold they still are is not known."
        )
        figures = {
            "soaked": (self._clock.seconds / 60, "min"),
            "missing": (missing_s / 60, "min"),
            "soak wanted": (wanted_s / 60, "min"),
        }
        tag = SCREW_SPEED if subject == SCREW else WIPER_STATE
        yield self.finding(subject, True, time_ns, sentence, tags=(tag,), figures=figures, momentary=True)

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {
            **super().save(),
            "clock": self._clock.save(),
            "moves": dict(self._moves),
            "told": dict(self._told_ns),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._clock.restore(state["clock"])
        self._moves = dict(state["moves"])
        self._told_ns = dict(state["told"])
