"""Whether the pressure after cleaning creeps up from cleaning to cleaning: the screen is being blinded.

Judged on the index J of the bare trough (pressure difference after cleaning, less the dirt laid on meanwhile,
over die pressure) where the die pressure is known, so that neither a stiffer melt nor more throughput nor a
dirtier bale is taken for a blinded screen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan, nan
from statistics import median
from typing import Any

from historian.frame import NS
from historian.tags import Tag
from process.cycles import Cycle
from process.screen import Forecast, time_to_limit
from process.statistics import Slope, theil_sen
from rules.block import Block
from rules.detectors.filtering.cause import Cause, CauseFollower
from rules.detectors.filtering.log import Cleaning
from rules.detectors.filtering.rows import DIE, WIPER, pressure_tags
from rules.finding import Evidence, Finding, Priority
from rules.line import LineFacts, MeltFilter
from rules.seen.line import SETTLE_S, START_S
from rules.seen.stage import Stage, Tens
from rules.table.settings import values_of
from rules.words import minutes

RULE = "pressure-creep"
SUBJECT = "filter.screen"

_LEAST_CYCLES = 8
_NOT_THE_SCREEN = (Cause.BLOCKED, Cause.SLIPS, Cause.MELT)
_ANOTHER_MELT = 2  # cleanings in a row
_LEAPS, _NO_MELT = 0.1, 0.35
"""Share by which J differs with another melt: what was before is then not compared with it. No melt moves J
by more than a third; the screen does. common practice, no source."""
_CONFIDENCE = 0.95
_NEW_SCREEN_SHARE = 0.85
_OVERFULL_SHARE = 1.2  # of the trigger: after a skipped cleaning the wiper leaves more than usual
_SURE_OF_NEAR = 2.0  # times the rise that must be certain, to say that the limit is near


@dataclass(frozen=True, slots=True)
class _Trough:
    """What one cleaning left: the trough as read, and the level that is compared.

    Attributes:
        index: J of the trough as read; NaN without die pressure.
        bare_bar, bare_index: the same less the dirt laid on meanwhile.
    """

    time_ns: int
    trough_bar: float
    index: float
    bare_bar: float
    bare_index: float


@dataclass(frozen=True, slots=True)
class _Trend:
    """How the troughs of the window go.

    Attributes:
        percent: rise per cleaning in percent of the median, of J or (without die pressure) of the trough.
        forecast: until the trough reaches its limit; None while not sure or not known.
    """

    percent: Slope
    forecast: Forecast | None
    by_index: bool


class PressureCreep:
    """Rule ``pressure-creep``: the slope of the last troughs, and when they reach the limit."""

    rule = RULE

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> None:
        self._values = values_of(facts, RULE)
        self._filter = facts.melt_filter if facts.melt_filter is not None else MeltFilter(plates=0)
        self._tags = (*pressure_tags(tags), WIPER, *((DIE,) if DIE in tags else ()))
        self._stage = stage
        self._causes = CauseFollower(stage)
        self._troughs: list[_Trough] = []
        self._other_melt: list[float] = []  # J after cleanings in a row at another die pressure than usual
        self._last: _Trough | None = None  # the last one of all, kept over stops
        self._standing = Priority.JOURNAL  # priority of the standing finding; JOURNAL: none

    def update(self, block: Block) -> Sequence[Finding]:
        """What the samples say."""
        found: list[Finding] = []
        for tens in self._stage.see(block).tens:
            self._follow_line(tens)
            odd = {c.start_ns for c, cause in self._followed(tens) if cause in _NOT_THE_SCREEN}
            for cycle in tens.cycles:
                if cycle.complete and cycle.start_ns not in odd:
                    found.extend(self._judge(cycle, tens))
        return found

    def advance(self, now_ns: int) -> Sequence[Finding]:
        """Nothing: missing samples are not this rule's affair."""
        return ()

    def _followed(self, tens: Tens) -> Sequence[tuple[Cleaning, Cause | None]]:
        """The cleanings with their causes; those before a melt that moves J are compared with none later."""
        usual = self._causes.usual
        found = self._causes.follow(tens)
        for cleaning, cause in found:
            self._other_melt = [*self._other_melt, cleaning.index] if cause is Cause.MELT else []
            if usual is not None and len(self._other_melt) >= _ANOTHER_MELT:
                leap = abs(median(self._other_melt) / usual.index_lately - 1)
                if _LEAPS < leap < _NO_MELT:
                    self._troughs.clear()
        return found

    def _follow_line(self, tens: Tens) -> None:
        """Troughs at another feed or screw speed, or before a stop, are not compared with later ones."""
        if tens.line.feed_changed_s == 0 or tens.line.running is False:
            self._troughs.clear()

    def _judge(self, cycle: Cycle, tens: Tens) -> Sequence[Finding]:
        time_ns, line = tens.time_ns, tens.line
        level = (cycle.trough_bar, cycle.trough_index, cycle.bare_trough_bar, cycle.bare_index)
        trough = _Trough(cycle.end_ns, *level)
        before, self._last = self._last, trough
        if self._standing > Priority.JOURNAL and before is not None and _is_new_screen(before, trough):
            self._troughs.clear()
            return (self._end(time_ns, "the pressure after cleaning fell at once, as after a screen change"),)
        since_s = (time_ns - cycle.start_ns) / NS
        settled = line.running is True and line.running_s - since_s >= START_S
        if not settled or line.feed_changed_s - since_s < SETTLE_S or self._is_unlike(cycle):
            return ()
        self._troughs = [*self._troughs, trough][-int(self._values["cycles"]) :]
        if len(self._troughs) < _LEAST_CYCLES:
            return ()
        return self._decide(self._trend(), time_ns)

    def _is_unlike(self, cycle: Cycle) -> bool:
        """Whether it cannot be compared: growth not known, or the screen was overfull."""
        trigger = self._filter.trigger_dp_bar
        overfull = trigger is not None and cycle.peak_bar > _OVERFULL_SHARE * trigger
        return isnan(cycle.bare_trough_bar) or overfull

    def _trend(self) -> _Trend:
        troughs = self._troughs
        by_index = not any(isnan(t.bare_index) for t in troughs)
        level = [t.bare_index if by_index else t.bare_bar for t in troughs]
        slope = theil_sen(range(len(level)), level, _CONFIDENCE)
        percent = slope.scaled(100 / median(level)) if median(level) > 0 else Slope(nan, nan, nan, 0)
        return _Trend(percent, self._forecast(), by_index)

    def _forecast(self) -> Forecast | None:
        limit = self._limit_bar()
        if limit is None:
            return None
        seconds = [(t.time_ns - self._troughs[0].time_ns) / NS for t in self._troughs]
        bars = [t.trough_bar for t in self._troughs]
        return time_to_limit(median(bars[-3:]), limit, theil_sen(seconds, bars, _CONFIDENCE))

    def _limit_bar(self) -> float | None:
        trigger = self._filter.trigger_dp_bar
        return None if trigger is None else trigger * self._values["limit_share"]

    def _decide(self, trend: _Trend, time_ns: int) -> Sequence[Finding]:
        values, percent, forecast = self._values, trend.percent, trend.forecast
        steep = percent.value > values["slope_percent"] and percent.low > values["sure_percent"]
        surely = percent.low > _SURE_OF_NEAR * values["sure_percent"]
        near = surely and forecast is not None and forecast.after_s <= values["horizon_s"]
        soon = forecast is not None and forecast.after_s < values["soon_s"]
        if steep or near or (soon and self._standing > Priority.JOURNAL):
            own = Priority.MEDIUM if soon else Priority.LOW
            return self._begin(trend, own, time_ns) if own > self._standing else ()
        full = len(self._troughs) >= int(values["cycles"])
        limit = self._limit_bar()
        above = limit is not None and self._troughs[-1].trough_bar >= limit
        flat = percent.value < values["sure_percent"] and not above
        if self._standing > Priority.JOURNAL and full and flat:
            cycles, rise = len(self._troughs), round(percent.value, 1) + 0.0  # no negative zero
            return (self._end(time_ns, f"over {cycles} cleanings it rises {rise:.1f} % per cleaning"),)
        return ()

    def _begin(self, trend: _Trend, own: Priority, time_ns: int) -> Sequence[Finding]:
        percent, forecast = trend.percent, trend.forecast
        self._standing = own
        when = ""
        if forecast is not None and forecast.after_s == 0:
            when = f", already above {self._limit_bar():.0f} bar"
        elif forecast is not None:
            span = f"{minutes(forecast.earliest_s)} to {minutes(forecast.latest_s)}"
            when = (
                f"; going on like this it reaches its limit of {self._limit_bar():.1f} bar in about "
                f"{minutes(forecast.after_s)} min ({span})"
            )
        reason = (
            "Die pressure does not explain it, so the screen is loading up."
            if trend.by_index
            else "Without die pressure a stiffer melt cannot be ruled out."
        )
        bar, limit = self._troughs[-1].trough_bar, self._limit_bar()
        # Nothing that reads like the limit already is said to reach it.
        alike = limit is not None and f"{bar:.0f}" == f"{limit:.0f}"
        now = f"now {bar:.1f} bar" if alike else f"now {bar:.0f} bar"
        sentence = (
            f"The pressure after cleaning rises {percent.value:.1f} % per cleaning "
            f"({percent.low:.1f} to {percent.high:.1f}), {now}{when}. {reason}"
        )
        return (self._finding(time_ns, own, sentence, self._figures(trend), active=True),)

    def _figures(self, trend: _Trend) -> dict[str, tuple[float, str]]:
        percent, forecast = trend.percent, trend.forecast
        figures = {
            "rise per cleaning": (round(percent.value, 2), "%"),
            "at least": (round(percent.low, 2), "%"),
            "at most": (round(percent.high, 2), "%"),
            "cleanings": (float(percent.points), "1"),
            "after the last cleaning": (round(self._troughs[-1].trough_bar, 1), "bar"),
        }
        if forecast is not None:
            figures["to the limit"] = (round(forecast.after_s / 60, 1), "min")
            figures["to the limit, earliest"] = (round(forecast.earliest_s / 60, 1), "min")
            figures["to the limit, latest"] = (round(forecast.latest_s / 60, 1), "min")
        return figures

    def _end(self, time_ns: int, why: str) -> Finding:
        own, self._standing = self._standing, Priority.JOURNAL
        return self._finding(
            time_ns, own, f"The pressure after cleaning no longer creeps up: {why}.", {}, active=False
        )

    def _finding(
        self,
        time_ns: int,
        own: Priority,
        sentence: str,
        figures: Mapping[str, tuple[float, str]],
        *,
        active: bool,
    ) -> Finding:
        start_ns = self._troughs[0].time_ns if self._troughs else time_ns
        evidence = Evidence(start_ns, time_ns, self._tags, figures)
        onset_ns = start_ns if active else time_ns
        priority, advice = self._values.priority(own), self._values.advice
        return Finding(RULE, SUBJECT, active, time_ns, onset_ns, priority, sentence, advice, evidence)

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "causes": self._causes.save(),
            "troughs": [_to_json(t) for t in self._troughs],
            "last": None if self._last is None else _to_json(self._last),
            "standing": int(self._standing),
            "other_melt": [None if isnan(v) else v for v in self._other_melt],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._causes.restore(state["causes"])
        self._troughs = [_from_json(t) for t in state["troughs"]]
        self._last = None if state["last"] is None else _from_json(state["last"])
        self._standing = Priority(state["standing"])
        self._other_melt = [nan if v is None else v for v in state["other_melt"]]


def _is_new_screen(before: _Trough, now: _Trough) -> bool:
    by_index = not (isnan(before.index) or isnan(now.index))
    old, new = (before.index, now.index) if by_index else (before.trough_bar, now.trough_bar)
    return new < _NEW_SCREEN_SHARE * old


def _to_json(trough: _Trough) -> list[float | None]:
    values = (trough.trough_bar, trough.index, trough.bare_bar, trough.bare_index)
    return [trough.time_ns, *(None if isnan(v) else v for v in values)]


def _from_json(saved: Sequence[Any]) -> _Trough:
    return _Trough(int(saved[0]), *(nan if v is None else float(v) for v in saved[1:]))
