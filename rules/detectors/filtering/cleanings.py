"""Rules that judge cleaning by cleaning: dirty bale, worn wiper, blocked discharge, wiper that slips."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from math import log
from typing import Any, ClassVar

from process.level_shift import Cusum
from rules.detectors.filtering.cause import CLOSER, MOST, Cause, CauseFollower, Usual
from rules.detectors.filtering.log import TORQUE, WEIGHT, Cleaning
from rules.detectors.filtering.rows import DIE, WIPER
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens

_TWICE = 2
_LEAST_DIE, _ALONG = 0.05, 0.5
_GONE = 3  # cleanings as usual that end a finding


class CleaningRule(TensRule):
    """One cause of changed cleanings; the usual is not learnt from cleanings that show any."""

    CAUSE: ClassVar[Cause]
    SUBJECT: ClassVar[str]

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._causes = CauseFollower(stage)
        self._shown: list[Cleaning] = []  # the last ones, which show the cause
        self._gone = 0
        self._standing = False

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say: something at a cleaning only."""
        usual = self._causes.usual
        why = tens.line.unsettled()
        if why is None and usual is None:
            why = "what is usual is not known yet"
        yield from self.blind.note(tens.time_ns, why)
        for cleaning, cause in self._causes.follow(tens):
            if usual is not None:
                yield from self._take(cleaning, cause, usual, tens)
        if self._standing and tens.line.standing_s > 60:
            # Whether it is mended shows at the next cleanings; the alarm of a line that stands helps nobody.
            self._standing, self._shown = False, []
            yield self._said(tens, "The line has stopped; the next cleanings will show.", {}, active=False)

    def _take(self, cleaning: Cleaning, cause: Cause | None, usual: Usual, tens: Tens) -> Iterable[Finding]:
        if cause is self.CAUSE:
            self._shown, self._gone = [*self._shown, cleaning][-MOST:], 0
            if not self._standing and self.is_sure(self._shown, usual):
                self._standing = True
                yield self._began(self._shown, usual, tens)
            return
        self._gone += 1
        if not self._standing:
            self._shown = []
        elif self._gone >= _GONE and cause is None:
            self._standing, self._shown = False, []
            yield self._said(tens, f"The last {_GONE} cleanings were as usual again.", {}, active=False)

    def is_sure(self, shown: list[Cleaning], usual: Usual) -> bool:
        """Whether so many cleanings, one after the other, are enough."""
        return len(shown) >= self.values["cleanings"]

    def _began(self, shown: list[Cleaning], usual: Usual, tens: Tens) -> Finding:
        now = Usual.of(shown)
        figures = {
            "time between cleanings": (now.period_s, "s"),
            "usual time between": (usual.period_s, "s"),
            "taken off by a cleaning": (now.amplitude_bar, "bar"),
            "usually taken off": (usual.amplitude_bar, "bar"),
            "wiper torque": (now.torque_percent, "%"),
            "usual wiper torque": (usual.torque_percent, "%"),
            "discharged by a cleaning": (now.discharged_kg, "kg"),
            "usually discharged": (usual.discharged_kg, "kg"),
        }
        return self._said(tens, self.sentence(now, usual, len(shown)), figures, active=True)

    def sentence(self, now: Usual, usual: Usual, cleanings: int) -> str:
        """What is seen, for a foreman."""
        raise NotImplementedError

    def _said(
        self, tens: Tens, sentence: str, figures: Mapping[str, tuple[float, str]], *, active: bool
    ) -> Finding:
        onset_ns = self._shown[0].start_ns if active and self._shown else tens.time_ns
        tags = ("filter.dp.calc", "filter.inlet.pressure.pv", WIPER, TORQUE, WEIGHT, DIE)
        return self.finding(
            self.SUBJECT, active, tens.time_ns, sentence, onset_ns=onset_ns, tags=tags, figures=figures
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "causes": self._causes.save(),
            "shown": [c.to_json() for c in self._shown],
            "gone": self._gone,
            "standing": self._standing,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._causes.restore(state["causes"])
        self._shown = [Cleaning.from_json(c) for c in state["shown"]]
        self._gone, self._standing = state["gone"], state["standing"]


class DirtStep(CleaningRule):
    """Rule ``dirt-step``: far more dirt comes than before."""

    RULE = "dirt-step"
    CAUSE = Cause.DIRT
    SUBJECT = "filter.screen"

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """Also when a cleaning begins: that it comes early is known before it has ended."""
        usual = self._causes.usual
        yield from super().judge(tens)
        begun = self._causes.begun
        if begun is None or usual is None or self._standing or not self._shown or tens.line.unsettled():
            return
        start_ns, period_s = begun
        if not period_s < CLOSER * usual.period_s:
            return
        # The one before has left the screen as clean as ever; what this one will leave is not known yet.
        shown = [*self._shown, replace(self._shown[-1], start_ns=start_ns, period_s=period_s)]
        if self.is_sure(shown, usual):
            self._standing = True
            yield self._began(shown, usual, tens)

    def is_sure(self, shown: list[Cleaning], usual: Usual) -> bool:
        """A cumulative sum of how early they come, in standard deviations of the usual period's logarithm."""
        early = Cusum(slack=1.0)
        for cleaning in shown:
            early.push(log(usual.period_s / cleaning.period_s) / usual.period_scatter)
        return len(shown) >= _TWICE and early.high > self.values["sigmas"]

    def sentence(self, now: Usual, usual: Usual, cleanings: int) -> str:
        """What is seen."""
        return (
            f"Cleanings come every {now.period_s:.0f} s instead of {usual.period_s:.0f} s, {cleanings} in a "
            "row; they clean as well as before, and the die pressure is the same: more dirt is fed."
        )


class CleaningWeak(CleaningRule):
    """Rule ``cleaning-weak``: a cleaning leaves more on the screen than before."""

    RULE = "cleaning-weak"
    CAUSE = Cause.WEAK
    SUBJECT = "filter.wiper"

    def sentence(self, now: Usual, usual: Usual, cleanings: int) -> str:
        """What is seen."""
        return (
            f"The last {cleanings} cleanings took off {now.amplitude_bar:.0f} bar instead of "
            f"{usual.amplitude_bar:.0f}; the die pressure is the same and the wiper's load no higher: "
            "it leaves more on the screen than before. Whether blade, contact force or turns is not known."
        )


class DischargeBlocked(CleaningRule):
    """Rule ``discharge-blocked``: cleanings bring nothing out."""

    RULE = "discharge-blocked"
    CAUSE = Cause.BLOCKED
    SUBJECT = "filter.discharge"

    def sentence(self, now: Usual, usual: Usual, cleanings: int) -> str:
        """What is seen."""
        return (
            f"The last {cleanings} cleanings brought out {now.discharged_kg:.2f} kg each instead of "
            f"{usual.discharged_kg:.2f}, the wiper's torque is {now.torque_percent:.0f} % instead of "
            f"{usual.torque_percent:.0f}: what it takes off does not leave the filter. "
            "Hot melt may be trapped in the outlet."
        )


class WiperSlipping(CleaningRule):
    """Rule ``wiper-slipping``: the wiper's drive turns and nothing is wiped."""

    RULE = "wiper-slipping"
    CAUSE = Cause.SLIPS
    SUBJECT = "filter.wiper"

    def sentence(self, now: Usual, usual: Usual, cleanings: int) -> str:
        """What is seen."""
        return (
            f"The wiper's drive turns with {now.torque_percent:.0f} % torque instead of "
            f"{usual.torque_percent:.0f}, and the last {cleanings} cleanings took off "
            f"{now.amplitude_bar:.0f} bar instead of {usual.amplitude_bar:.0f}: the blade is not driven "
            "or not there. Parts of it may be in the discharge."
        )


class MeltChanged(CleaningRule):
    """Rule ``melt-changed``: filter and die resist alike more or less than before."""

    RULE = "melt-changed"
    CAUSE = Cause.MELT
    SUBJECT = "extruder.melt"

    def is_sure(self, shown: list[Cleaning], usual: Usual) -> bool:
        """Also: the bare screen is as it was, by J."""
        now = Usual.of(shown)
        if not (usual.index > 0 and usual.die_bar > 0):
            return False
        die, index = abs(log(now.die_bar / usual.die_bar)), abs(log(now.index / usual.index))
        # A thinner melt takes J along a little: filter and die do not thin alike.
        as_it_was = index < max(self.values["index_percent"] / 100, _ALONG * die)
        return super().is_sure(shown, usual) and die > _LEAST_DIE and as_it_was

    def sentence(self, now: Usual, usual: Usual, cleanings: int) -> str:
        """What is seen."""
        stiffer = "stiffer or colder" if now.die_bar > usual.die_bar else "thinner or hotter"
        return (
            f"The die pressure is {now.die_bar:.0f} bar instead of {usual.die_bar:.0f}, nothing was set, "
            "and filter and die have changed alike: the melt is "
            f"{stiffer}, or another amount flows. The screen is as it was."
        )


CLEANING_RULES: tuple[type[CleaningRule], ...] = (
    DirtStep,
    CleaningWeak,
    DischargeBlocked,
    WiperSlipping,
    MeltChanged,
)
