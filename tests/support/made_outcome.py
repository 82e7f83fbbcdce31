"""A made-up trial of an hour or two, put together by hand: one operating point on the made-up traces."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from process.cycles import Cycle
from rules.line import LineFacts, MeltFilter
from rules.review import Window
from tests.support.made_traces import LENGTH_S, T0_NS, WINDOW, cycles, line
from trials.figures import Facts, Melt, Reference, ScreenInUse, Trace, operating_point
from trials.figures.trace import NS
from trials.outcome import Outcome, Point, Stretch
from trials.record import Trial
from trials.record.book import book_of
from trials.record.entries import Entry, What
from trials.results import results_of
from trials.segments import Timeline
from trials.sittings import Sitting

END_NS = T0_NS + LENGTH_S * NS
FACTS = Facts(
    planned_kg_h=780.0,
    screen=ScreenInUse(1178.0, 5.0, 0.10, 110.0),
    melt=Melt(0.5618, 45_000.0, 11_194.0, 190.0, 740.0),
    reference=Reference(780.0, 222.0),
)
FILTER = LineFacts("pilot", MeltFilter(8, screen_area_cm2=1178.0, fineness_um=110.0), 5, 780.0)


def entry(number: int, what: What, data: Mapping[str, Any], *, second: int = 0) -> Entry:
    """An entry of the record, written when it was so."""
    at_ns = T0_NS + second * NS
    return Entry(number, 1, what, at_ns, at_ns, "ada", dict(data))


def outcome(
    name: str = "T-1",
    *,
    traces: Mapping[str, Trace] | None = None,
    found: Sequence[Cycle] | None = None,
    windows: Sequence[Window] = WINDOW,
    facts: Facts = FACTS,
    screen: str = "S-1",
    lot: str = "1",
    entries: Iterable[Entry] = (),
    points: bool = True,
) -> Outcome:
    """A trial with one operating point, or with none."""
    whole = dict(line() if traces is None else traces)
    cleanings = list(cycles() if found is None else found)
    stretch = Stretch(1, 1, tuple(windows), {"doser.rate.sp": 780.0}, screen, lot)
    book = book_of(entries)
    made = Point(1, (stretch,), facts, operating_point(whole, cleanings, windows, facts, []))
    return Outcome(
        Trial(1, name, "a customer", "heron", T0_NS, END_NS),
        FILTER,
        {},
        book,
        END_NS,
        Timeline(T0_NS, END_NS, [], [], cleanings, [], []),
        (Sitting(1, T0_NS, END_NS),),
        (made,) if points else (),
        (),
        tuple(results_of(book.standing)),
        (),
        (),
        whole,
    )


def with_screen(facts: Facts, **of: float) -> Facts:
    """The same facts with another screen."""
    assert facts.screen is not None
    return replace(facts, screen=replace(facts.screen, **of))
