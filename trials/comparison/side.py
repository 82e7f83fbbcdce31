"""One side of a comparison: an operating point, a phase, or a screen of a trial, with figures and traces."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from process.cycles import Cycle
from rules.review import Window
from trials.figures.operating_point import Facts, OperatingPoint, operating_point
from trials.figures.trace import Traces
from trials.figures.weighting import apart
from trials.outcome import Outcome, Point
from trials.record.entries import What


@dataclass(frozen=True, slots=True)
class Side:
    """What stands in one column.

    Attributes:
        name: for a person, such as "T-7, P1".
        trial: name of the trial.
        figures: over its windows.
        facts: what was told of line, material and samples for it.
        polymer, lot, screen: as told; empty when not.
        traces, cleanings: of the whole trial.
    """

    name: str
    trial: str
    figures: OperatingPoint
    facts: Facts
    polymer: str
    lot: str
    screen: str
    traces: Traces
    cleanings: tuple[Cycle, ...]

    @property
    def windows(self) -> tuple[Window, ...]:
        """The time that it speaks of, apart and in order."""
        return apart(self.figures.windows)


def side_of_point(outcome: Outcome, point: Point) -> Side:
    """One operating point of a trial."""
    return _side(outcome, point.name, point.figures, point.facts, point.lot, point.screen)


def sides_of_points(outcome: Outcome) -> list[Side]:
    """All operating points of a trial, in the order of time."""
    return [side_of_point(outcome, p) for p in outcome.points]


def sides_of_screens(outcome: Outcome) -> list[Side]:
    """The screens of a trial in the order of time, each by its longest operating point, valid ones first.

    Figures are never made over two operating points; the others are compared as points.
    """
    found: dict[str, Point] = {}
    for point in outcome.points:
        best = found.get(point.screen)
        if best is None or _rank(point) > _rank(best):
            found[point.screen] = point
    return [
        _side(outcome, f"screen {serial or 'not told'} ({p.name})", p.figures, p.facts, p.lot, p.screen)
        for serial, p in found.items()
    ]


def side_of_phase(outcome: Outcome, phase: str) -> Side | None:
    """All time of a trial in a phase, such as "ramp" (see ``process.phase_names``); None: there was none.

    What was told of screen and lot is that of the operating point which it meets, where it meets just one.
    """
    windows = [Window(p.start_ns, p.end_ns) for p in outcome.timeline.phases if p.name == phase]
    return side_of_windows(outcome, phase, windows) if apart(windows) else None


def side_of_windows(outcome: Outcome, name: str, windows: Iterable[Window]) -> Side:
    """Any time of a trial; what was told of it is as ``side_of_phase`` says."""
    within = apart(windows)
    met = [p for p in outcome.points if any(_meet(w, within) for w in p.windows)]
    point = met[0] if len(met) == 1 else None
    bars = outcome.timeline.alarms if outcome.judged else None
    facts = point.facts if point is not None else Facts()
    figures = operating_point(outcome.traces, outcome.timeline.cleanings, within, facts, bars)
    lot, screen = (point.lot, point.screen) if point is not None else ("", "")
    return _side(outcome, name, figures, facts, lot, screen)


def _side(outcome: Outcome, name: str, figures: OperatingPoint, facts: Facts, lot: str, screen: str) -> Side:
    return Side(
        f"{outcome.trial.name}, {name}",
        outcome.trial.name,
        figures,
        facts,
        str(outcome.book.only(What.MATERIAL).get("polymer", "")),
        lot,
        screen,
        outcome.traces,
        tuple(outcome.timeline.cleanings),
    )


def _rank(point: Point) -> tuple[bool, float]:
    return not point.figures.indicative, sum(w.s for w in point.windows)


def _meet(window: Window, others: Sequence[Window]) -> bool:
    return any(window.start_ns < o.end_ns and o.start_ns < window.end_ns for o in others)
