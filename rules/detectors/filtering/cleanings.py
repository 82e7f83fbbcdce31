"""Rules that judge cleaning by cleaning: dirty bale, worn wiper, blocked discharge, wiper that slips."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from math import isnan, log
from typing import Any

from historian.frame import NS
from process.level_shift import Cusum
from rules.detectors.filtering.cause import CLOSER, Cause, Usual, is_plainly_blocked
from rules.detectors.filtering.cleaning_rule import CleaningRule
from rules.detectors.filtering.log import Cleaning, usual_of
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.flow import Flow
from rules.seen.stage import Stage, Tens
from rules.seen.told import MATERIAL_CHANGED

_TWICE = 2
_JUST_BEFORE = 4  # cleanings: what comes with the bales changes slowly, a dirtier lot at once
_LEAST_DIE, _ALONG = 0.05, 0.5


class DirtStep(CleaningRule):
    """Rule ``dirt-step``: far more dirt comes than before."""

    RULE = "dirt-step"
    CAUSE = Cause.DIRT
    SUBJECT = "filter.screen"

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._just_before: list[Cleaning] = []  # the last ones that came no earlier than usual

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

    def _take(self, cleaning: Cleaning, cause: Cause | None, usual: Usual, tens: Tens) -> Iterable[Finding]:
        if cause is None:
            self._just_before = [*self._just_before, cleaning][-_JUST_BEFORE:]
        yield from super()._take(cleaning, cause, usual, tens)

    def is_sure(self, shown: list[Cleaning], usual: Usual) -> bool:
        """A cumulative sum of how early they come, in standard deviations of the usual period's logarithm.

        Also: the pressure difference rises at once so much faster. Cleanings that take less off come earlier
        too, and so do those of a lot that has grown dirtier by and by; neither is a step.
        """
        early = Cusum(slack=1.0)
        for cleaning in shown:
            early.push(log(usual.period_s / cleaning.period_s) / usual.period_scatter)
        before = usual_of(self._just_before, "laid_bar_s")
        if isnan(before):
            before = usual.amplitude_bar / usual.period_s
        faster = usual_of(shown[-_JUST_BEFORE:], "laid_bar_s") / before
        step = faster > self.values["step"]
        return len(shown) >= _TWICE and early.high > self.values["sigmas"] and step

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "just_before": [c.to_json() for c in self._just_before]}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._just_before = [Cleaning.from_json(c) for c in state["just_before"]]

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

    def is_sure(self, shown: list[Cleaning], usual: Usual) -> bool:
        """One is enough when nothing comes out, the wiper labours and takes off less, all at once."""
        return super().is_sure(shown, usual) or is_plainly_blocked(shown[-1], usual)

    def sentence(self, now: Usual, usual: Usual, cleanings: int) -> str:
        """What is seen."""
        each = " each" if cleanings > 1 else ""
        return (
            f"{_the_last(cleanings)} brought out {now.discharged_kg:.2f} kg{each} instead of "
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

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._flow = Flow(stage)
        self._lot_ns: int | None = None  # when another lot was told last

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """As the others; a feed off its set-point is no other melt, and a lot that was told is no news."""
        self._flow.push(tens)
        lots = [t.time_ns for t in tens.told if t.what == MATERIAL_CHANGED]
        self._lot_ns = max(lots) if lots else self._lot_ns
        yield from super().judge(tens)

    def _take(self, cleaning: Cleaning, cause: Cause | None, usual: Usual, tens: Tens) -> Iterable[Finding]:
        told = self._lot_ns is not None and cleaning.end_ns < self._lot_ns + self.values["told_s"] * NS
        if not (self._flow.uneven or told):
            yield from super()._take(cleaning, cause, usual, tens)

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "flow": self._flow.save(), "lot": self._lot_ns}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._flow.restore(state["flow"])
        self._lot_ns = state["lot"]

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


def _the_last(cleanings: int) -> str:
    return "The last cleaning" if cleanings == 1 else f"The last {cleanings} cleanings"
