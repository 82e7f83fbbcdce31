"""Enough for a valid result: what is there, what is missing, and how many minutes that takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import isinf
from typing import Any

import pytest

from historian.frame import NS
from rules.line import LineFacts, MeltFilter
from rules.review import Window
from tests.support.made_traces import LENGTH_S, PERIOD_S, T0_NS, WINDOW, cycles, line
from trials.enough import Ask, enough_of
from trials.figures import operating_point
from trials.outcome import Outcome, Point, Stretch
from trials.outcome.facts import facts_of
from trials.record import Trial
from trials.record.book import Book, book_of
from trials.record.entries import Entry, What
from trials.segments import Timeline
from trials.sittings import Sitting

END_NS = T0_NS + LENGTH_S * NS
LINE = LineFacts("pilot", MeltFilter(2, screen_area_cm2=1178, fineness_um=110), 5, 780.0)
ALL: list[tuple[What, float, Mapping[str, Any]]] = [
    (What.PLAN, 0, {"question": "How much?", "steady": "60 min"}),
    (What.LOT, 0, {"lot": "1"}),
    (What.SCREEN, 0, {"serial": "A", "fineness": "110 um"}),
    (What.PRE_ANALYSIS, 0, {"what": "moisture", "value": "0.4 %", "method": "oven"}),
    (
        What.PRE_ANALYSIS,
        0,
        {"what": "melt-flow-rate", "value": "1.1 g/10min", "temperature": "190 Cel", "load": "2.16 kg"},
    ),
    (What.ZERO_CHECK, 0, {"reading": {"filter.inlet.pressure.pv": "0.2 bar"}}),
    (What.SAMPLE, 10, {"name": "P1"}),
    (What.SAMPLE, 40, {"name": "P2"}),
    (What.WEIGHING, 30, {"gross": "12 kg", "tare": "2 kg"}),
]


def book(told: list[tuple[What, float, Mapping[str, Any]]]) -> Book:
    return book_of(
        Entry(n, 1, what, T0_NS + round(60 * at_min * NS), 0, "ada", data)
        for n, (what, at_min, data) in enumerate(told, start=1)
    )


def outcome(
    told: list[tuple[What, float, Mapping[str, Any]]] = ALL,
    windows: tuple[Window, ...] = WINDOW,
    *,
    end_ns: int | None = END_NS,
) -> Outcome:
    record = book(told)
    traces = {p: t for p, t in line().items() if p != "filter.discharge.weight.total"}
    facts = facts_of(record, LINE, screen="A", lot="1", melt_cel=222)
    figures = operating_point(traces, cycles(), windows, facts, [])
    stretch = Stretch(1, 1, windows, {}, "A", "1")
    return Outcome(
        Trial(1, "T1", "", "heron", T0_NS, end_ns),
        LINE,
        {},
        record,
        END_NS,
        Timeline(T0_NS, END_NS, [], [], cycles(), [], []),
        (Sitting(1, T0_NS, END_NS),),
        (Point(1, (stretch,), facts, figures),) if windows else (),
        (),
        (),
        (),
        (),
        traces,
    )


def ask(found: Outcome, name: str) -> Ask:
    return next(a for a in enough_of(found).asks if a.name == name)


def test_a_trial_with_everything_has_enough() -> None:
    answer = enough_of(outcome())
    assert answer.yes and answer.missing == () and answer.minutes == 0
    assert all(a.remedy == "" for a in answer.asks)


@pytest.mark.parametrize(
    ("left_out", "name"),
    [
        (2, "screen in use"),
        (3, "moisture of the feed"),
        (4, "melt flow rate of the feed"),
        (5, "zero checks of the pressures"),
        (6, "pellet samples"),
        (8, "weighings of the discharge"),
    ],
)
def test_each_thing_that_was_not_done_is_missing_by_itself_and_says_what_to_do(
    left_out: int, name: str
) -> None:
    told = [*ALL[:left_out], *ALL[left_out + 1 :]]
    found = outcome(told)
    if name == "screen in use":
        point = replace(found.points[0], facts=replace(found.points[0].facts, screen=None))
        stretch = replace(point.stretches[0], screen="")
        found = replace(found, points=(replace(point, stretches=(stretch,)),))
    answer = enough_of(found)
    assert [a.name for a in answer.missing] == [name]
    assert answer.missing[0].remedy and answer.minutes == 0


def test_half_the_time_needs_the_other_half_and_the_cleanings_that_lack() -> None:
    half = (Window(T0_NS, T0_NS + 1200 * NS),)
    answer = enough_of(outcome(windows=half, end_ns=None))
    assert ask(outcome(windows=half), "steady time").minutes == pytest.approx(40)
    cleanings = ask(outcome(windows=half), "whole cleaning cycles")
    assert cleanings.minutes == pytest.approx((8 - cleanings.have) * PERIOD_S / 60)
    assert answer.minutes == pytest.approx(40)  # both go on side by side


def test_without_steady_time_nothing_is_there_and_how_long_cannot_be_told() -> None:
    answer = enough_of(outcome(windows=()))
    assert answer.point is None and not answer.yes
    assert isinf(answer.minutes)


def test_results_of_another_lot_do_not_count() -> None:
    data = {"what": "moisture", "value": "0.4 %", "method": "oven", "lot": "7"}
    told = [*ALL[:3], (What.PRE_ANALYSIS, 0.0, data), *ALL[4:]]
    assert [a.name for a in enough_of(outcome(told)).missing] == ["moisture of the feed"]


def test_while_it_runs_the_newest_point_is_asked_about_and_afterwards_the_valid_one() -> None:
    whole = outcome()
    late = Window(END_NS, END_NS + 300 * NS)
    short = Point(
        2,
        (Stretch(2, 1, (late,), {}, "A", "1"),),
        whole.points[0].facts,
        operating_point(whole.traces, cycles(), (late,), whole.points[0].facts, []),
    )
    both = replace(whole, points=(*whole.points, short))
    assert enough_of(both).point is both.points[0]
    under_way = replace(both, trial=replace(both.trial, end_ns=None))
    assert enough_of(under_way).point is short
