"""Whether a trial has enough for a valid result, and what is missing while the line still runs. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np

from historian.units import quantity
from rules.review import Window
from trials.figures.cleaning import whole_periods
from trials.figures.figure import VALID_SHARE
from trials.figures.weighting import held
from trials.figures.windows import (
    FEW_LONG_CLEANINGS,
    KEY_TAGS,
    LEAST_CLEANINGS,
    LEAST_PELLET_SAMPLES,
    LEAST_STEADY_S,
    LONG_INTERVAL_S,
)
from trials.outcome.outcome import Outcome, Point
from trials.record.entries import What

BY_HAND: Final = 0.0
"""What is missing is an act, which needs no steady time."""


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing that a valid result needs.

    Attributes:
        name: what, for a person.
        have, asked: how much there is, and how much there should be.
        unit: UCUM code; "1" for a count.
        minutes: steady minutes that it still needs; 0 where it is there or takes an act instead; infinity
            where it cannot be told.
        remedy: what to do; empty where it is there.
    """

    name: str
    have: float
    asked: float
    unit: str
    minutes: float = BY_HAND
    remedy: str = ""

    @property
    def holds(self) -> bool:
        """Whether there is enough of it."""
        return self.have >= self.asked


@dataclass(frozen=True, slots=True)
class Enough:
    """The answer.

    Attributes:
        point: the operating point that is asked about; None when nothing ran steadily.
        asks: what a valid result needs, in the order of a report.
    """

    point: Point | None
    asks: tuple[Ask, ...]

    @property
    def yes(self) -> bool:
        """Whether nothing is missing."""
        return all(a.holds for a in self.asks)

    @property
    def missing(self) -> tuple[Ask, ...]:
        """What there is too little of."""
        return tuple(a for a in self.asks if not a.holds)

    @property
    def minutes(self) -> float:
        """How many steady minutes are still needed; they run side by side. Infinity: it cannot be told."""
        return max((a.minutes for a in self.missing), default=0.0)


def enough_of(outcome: Outcome) -> Enough:
    """What the newest operating point has and what it lacks; of a closed trial, the one that answers for it.

    common practice, no source: all bars (see ``trials.figures.windows``).
    """
    point = _asked_about(outcome)
    windows = point.windows if point is not None else ()
    return Enough(
        point,
        (
            _steady(outcome, windows),
            _cleanings(outcome, windows),
            _samples(outcome, windows),
            _weighings(outcome, windows),
            *_coverage(outcome, windows),
            _known("lot of the feed", point.lot if point is not None else "", "write down which lot is fed"),
            _screen(outcome, point),
            _zero(outcome),
            _of_feed(outcome, point, "moisture"),
            _of_feed(outcome, point, "melt-flow-rate"),
        ),
    )


def _asked_about(outcome: Outcome) -> Point | None:
    if outcome.under_way and outcome.points:
        return max(outcome.points, key=lambda p: max(w.end_ns for w in p.windows))
    return outcome.main


def _steady(outcome: Outcome, windows: Sequence[Window]) -> Ask:
    planned = outcome.book.only(What.PLAN).get("steady")
    asked = quantity(str(planned), "min") if planned is not None else LEAST_STEADY_S / 60
    have = sum(w.s for w in windows) / 60
    remedy = "" if have >= asked else "run on without changing anything"
    return Ask("steady time", have, asked, "min", max(0.0, asked - have), remedy)


def _cleanings(outcome: Outcome, windows: Sequence[Window]) -> Ask:
    periods = [c.period_s for c in whole_periods(outcome.timeline.cleanings, windows)]
    usual_s = float(np.median(periods)) if periods else inf
    asked = FEW_LONG_CLEANINGS if LONG_INTERVAL_S <= usual_s < inf else LEAST_CLEANINGS
    lacking = max(0, asked - len(periods))
    remedy = "" if not lacking else "run on until the screen was cleaned often enough"
    return Ask(
        "whole cleaning cycles",
        len(periods),
        asked,
        "1",
        lacking * usual_s / 60 if lacking else 0.0,
        remedy,
    )


def _samples(outcome: Outcome, windows: Sequence[Window]) -> Ask:
    taken = [e.time_ns for e in outcome.book.all_of(What.SAMPLE) if e.data.get("of", "pellets") == "pellets"]
    have = _within(taken, windows)
    return _act("pellet samples", have, LEAST_PELLET_SAMPLES, "take pellets while the line runs steadily")


def _weighings(outcome: Outcome, windows: Sequence[Window]) -> Ask:
    weighed = [e.time_ns for e in outcome.book.all_of(What.WEIGHING)]
    counted = outcome.traces.get("filter.discharge.weight.total")
    if counted is not None and windows and held(counted, windows).share > 0:
        return Ask("weighings of the discharge", max(1, _within(weighed, windows)), 1, "1")
    remedy = "weigh what the filter discharges over some cycles, gross and tare"
    return _act("weighings of the discharge", _within(weighed, windows), 1, remedy)


def _coverage(outcome: Outcome, windows: Sequence[Window]) -> list[Ask]:
    asks = []
    for path in KEY_TAGS:
        trace = outcome.traces.get(path)
        have = 100 * held(trace, windows).share if trace is not None and windows else 0.0
        name = f"known samples of {path}"
        remedy = "" if have >= 100 * VALID_SHARE else "look why it is not read"
        asks.append(Ask(name, have, 100 * VALID_SHARE, "%", BY_HAND, remedy))
    return asks


def _screen(outcome: Outcome, point: Point | None) -> Ask:
    facts_known = point is not None and point.facts.screen is not None
    told = point.screen if point is not None else ""
    return _known("screen in use", told or ("told" if facts_known else ""), "write down which screen is in")


def _zero(outcome: Outcome) -> Ask:
    have = len(outcome.book.all_of(What.ZERO_CHECK))
    have += sum(m.kind == "zero state confirmed" for m in outcome.timeline.marks)
    remedy = "have the pressures read for zero by the maker's procedure, with the line at rest"
    return _act("zero checks of the pressures", have, 1, remedy)


def _of_feed(outcome: Outcome, point: Point | None, what: str) -> Ask:
    lot = point.lot.partition(",")[0] if point is not None else ""
    told = [
        e
        for e in (*outcome.book.all_of(What.PRE_ANALYSIS), *outcome.book.all_of(What.RESULT))
        if e.data["what"] == what
        and e.data.get("of", "feed" if e.what is What.PRE_ANALYSIS else "pellets") == "feed"
        and e.data.get("lot") in (None, lot)
    ]
    name = f"{what.replace('-', ' ')} of the feed"
    return _act(name, len(told), 1, "have it measured on the same lot; it may come later")


def _known(name: str, told: str, remedy: str) -> Ask:
    return _act(name, 1 if told else 0, 1, remedy)


def _act(name: str, have: float, asked: float, remedy: str) -> Ask:
    return Ask(name, have, asked, "1", BY_HAND, "" if have >= asked else remedy)


def _within(times_ns: Sequence[int], windows: Sequence[Window]) -> int:
    return sum(any(t in w for w in windows) for t in times_ns)
