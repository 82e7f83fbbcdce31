"""Whether the screen has torn, or melt passes beside it: its resistance is gone within seconds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import isnan, nan
from typing import Any

import numpy as np

from historian.frame import NS
from process.screen import pressure_index
from rules.detectors.filtering.log import or_nan, or_none
from rules.detectors.filtering.rows import DIE, WIPER, pressure_tags
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S
from rules.seen.wiping import Wiping

_AFTER_WIPE_S = 30.0
_USUAL_FROM, _USUAL_OF = 3, 8  # cleanings
_BEFORE = 6  # tens of seconds that are looked back over
_LEAST_INDEX = 8.0  # below it there is hardly anything to fall


class ScreenTorn(TensRule):
    """Rule ``screen-torn``: J falls by a quarter outside a cleaning, the die pressure does not."""

    RULE = "screen-torn"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._last: list[
            tuple[float, float]
        ] = []  # J and die pressure of tens without cleaning, oldest first
        self._level: tuple[float, float] | None = None  # J and die pressure before it fell
        self._fell_ns = 0
        self._held = 0
        self._standing = False
        self._after: list[tuple[float, float]] = []  # J and die pressure half a minute after cleanings
        self._wiping = Wiping()
        self._less = 0  # tens of seconds in which J is far below that

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say."""
        moves = bool((self.stage.at(tens.rows, WIPER) > 0).any())
        self._wiping.push(tens.time_ns, moves=moves)
        dp = self.stage.dp_bar(tens.rows)
        known = dp[~np.isnan(dp)]
        dp_bar = float(known.mean()) if len(known) else nan
        column = self.stage.column.get(DIE, -1)
        die = float(tens.mean[column]) if column >= 0 else 100.0  # without it, J is the pressure itself
        index = pressure_index(dp_bar, die)
        why = tens.line.unsettled(start_s=300.0, settle_s=60.0)
        if why is None and isnan(index):
            why = "the pressure difference is not known"
        yield from self.blind.note(tens.time_ns, why)
        if self._standing:
            if tens.line.standing_s > 60:
                self._forget()
                yield self._said(
                    tens, "The line stands. Whether the screen is whole is not known.", active=False
                )
            return
        if why is not None:
            self._forget()
            return
        # A wiper that never stops cleans all the time: J keeps a level of its own, with which it is compared.
        wiped_s = self._wiping.wiped_s
        if wiped_s < _AFTER_WIPE_S and self._level is None:
            self._last.clear()
            return
        first = wiped_s < _AFTER_WIPE_S + TENS_S
        yield from self._beside_the_usual(tens, index, die, first=first)
        if not self._standing:
            yield from self._look(tens, index, die)

    def _beside_the_usual(self, tens: Tens, index: float, die: float, *, first: bool) -> Iterable[Finding]:
        """A screen that tears in a cleaning or soon after it is seen beside what cleanings usually leave."""
        if len(self._after) >= _USUAL_FROM:
            usual, usual_die = (float(np.median(v)) for v in zip(*self._after, strict=True))
            less = index < (1 - self.values["fall_percent"] / 100) * usual
            same = abs(die / usual_die - 1) < self.values["die_percent"] / 100
            self._less = self._less + 1 if less and same and usual > _LEAST_INDEX else 0
            if self._less * TENS_S >= self.values["held_s"]:
                self._standing = True
                self._fell_ns = tens.time_ns - int(self._less * TENS_S) * NS
                yield self._began(tens, usual, index, die)
                return
        if first and self._less == 0:
            self._after = [*self._after, (index, die)][-_USUAL_OF:]

    def _look(self, tens: Tens, index: float, die: float) -> Iterable[Finding]:
        if self._level is not None:
            before, die_before = self._level
            down = index < (1 - self.values["fall_percent"] / 100) * before
            same = abs(die / die_before - 1) < self.values["die_percent"] / 100
            if not (down and same):
                self._level, self._held = None, 0
                self._last = [(index, die)]
                return
            self._held += 1
            if self._held * TENS_S >= self.values["held_s"]:
                self._standing = True
                yield self._began(tens, before, index, die)
            return
        self._last = [*self._last, (index, die)][-_BEFORE:]
        if len(self._last) < 3:
            return
        # The ten seconds in which it falls are part of both levels: they are passed over.
        (before, die_before), _, (now, _) = self._last[-3:]
        fell = now < (1 - self.values["fall_percent"] / 100) * before
        same = abs(die / die_before - 1) < self.values["die_percent"] / 100
        if before > _LEAST_INDEX and fell and same:
            self._level, self._held = (before, die_before), 1
            self._fell_ns = tens.time_ns - int(2 * TENS_S) * NS

    def _began(self, tens: Tens, before: float, index: float, die: float) -> Finding:
        sentence = (
            f"The screen's resistance fell by {100 * (1 - index / before):.0f} % within seconds, outside a "
            f"cleaning, while the die pressure stayed at {die:.0f} bar: the screen may be torn, or melt "
            "passes beside it. Pellets since then are suspect."
        )
        figures = {"J before": (before, "1"), "J now": (index, "1"), "die pressure": (die, "bar")}
        return self._said(tens, sentence, active=True, figures=figures, onset_ns=self._fell_ns)

    def _said(
        self,
        tens: Tens,
        sentence: str,
        *,
        active: bool,
        figures: Mapping[str, tuple[float, str]] | None = None,
        onset_ns: int | None = None,
    ) -> Finding:
        tags = (*pressure_tags(self.stage.column), DIE, "extruder.head.pressure.pv")
        return self.finding(
            "filter.screen", active, tens.time_ns, sentence, onset_ns=onset_ns, tags=tags, figures=figures
        )

    def _forget(self) -> None:
        self._last, self._level, self._held, self._standing = [], None, 0, False
        self._after, self._less = [], 0

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "last": [[or_none(i), or_none(d)] for i, d in self._last],
            "level": None if self._level is None else list(self._level),
            "fell": self._fell_ns,
            "held": self._held,
            "standing": self._standing,
            "after": [[or_none(i), or_none(d)] for i, d in self._after],
            "less": self._less,
            "wiping": self._wiping.save(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._last = [(or_nan(i), or_nan(d)) for i, d in state["last"]]
        self._level = None if state["level"] is None else (state["level"][0], state["level"][1])
        self._fell_ns, self._held, self._standing = state["fell"], state["held"], state["standing"]
        self._after = [(or_nan(i), or_nan(d)) for i, d in state["after"]]
        self._less = state["less"]
        self._wiping.restore(state["wiping"])
