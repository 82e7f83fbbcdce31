"""Puts a trial together: operating points, each with its facts and figures. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from historian.frame import Series
from historian.tags import Tag
from rules.line import LineFacts
from rules.review import Window
from trials.bags import Suspicion, bags_of, suspect_bags
from trials.figures.operating_point import OperatingPoint, operating_point
from trials.figures.reading import traces_of
from trials.figures.trace import Calibration, Traces
from trials.figures.weighting import held
from trials.outcome.facts import facts_of
from trials.outcome.outcome import Excluded, Outcome, Point, Stretch
from trials.outcome.points import excluded_time, stretches_of
from trials.phases import found_otherwise, phases_that_count
from trials.record import Trial
from trials.record.book import book_of
from trials.record.entries import Entry
from trials.results import results_of
from trials.segments import Timeline
from trials.settings import settings_of
from trials.sittings import sittings_of

MELT: Final = "extruder.melt.temp.pv"
BAG_LAG_S: Final = (20.0, 600.0)
"""From the screen into the bag: the shortest and the longest way. common practice, no source."""


def outcome_of(
    trial: Trial,
    entries: Iterable[Entry],
    end_ns: int,
    timeline: Timeline,
    series: Mapping[str, Series],
    line: LineFacts,
    tags: Mapping[str, Tag],
    calibrations: Mapping[str, Calibration] | None = None,
    *,
    judged: bool = True,
) -> Outcome:
    """Everything that is to be said of a trial.

    Args:
        entries: of the trial's record, in any order.
        end_ns: of the trial; while it is under way: until when samples are there.
        timeline: from the trial's start to that end.
        series: path → samples of that time, with the one before it where a value holds.
        calibrations: path → what is known of its sensor.
        judged: whether rules judged the trial.

    Raises:
        WrongInput: the record contradicts itself: sittings or bags that cannot be; it names the entries.
    """
    book = book_of(entries)
    found = timeline.phases
    kept = phases_that_count(found, book)
    timeline = replace(timeline, phases=[k.phase for k in kept])
    sittings = sittings_of(book.standing, trial.start_ns, end_ns)
    excluded = excluded_time(timeline.phases, timeline.alarms, book, end_ns)
    setpoints = {path: s for path, s in series.items() if path.endswith(".sp")}
    stretches = stretches_of(timeline.phases, excluded, sittings, book, setpoints)
    traces = traces_of(series, calibrations)
    reference_cel = _melt_cel(traces, [w for s in stretches for w in s.windows])

    def point(number: int) -> Point:
        its = tuple(s for s in stretches if s.number == number)
        windows = [w for s in its for w in s.windows]
        facts = facts_of(
            book, line, screen=its[0].screen, lot=its[0].lot.partition(", bale ")[0], melt_cel=reference_cel
        )

        def over(some: Sequence[Window]) -> OperatingPoint:
            return operating_point(
                traces, timeline.cleanings, some, facts, timeline.alarms if judged else None
            )

        by_sitting = _windows_by_sitting(its)
        several = {n: over(w) for n, w in by_sitting.items()} if len(by_sitting) > 1 else {}
        return Point(number, its, facts, over(windows), several)

    bags = bags_of(book.standing, trial.start_ns)
    return Outcome(
        trial,
        line,
        tags,
        book,
        end_ns,
        timeline,
        tuple(sittings),
        tuple(point(n) for n in sorted({s.number for s in stretches})),
        excluded,
        tuple(results_of(book.standing)),
        tuple(bags),
        tuple(suspect_bags(bags, _suspicions(excluded))),
        traces,
        judged,
        tuple(settings_of(timeline.settings, book.standing)),
        tuple(kept),
        tuple(found_otherwise(kept, found)),
    )


def nothing_steady(outcome: Outcome) -> OperatingPoint:
    """The figures of a trial without steady time: each with the reason why it has no value."""
    facts = facts_of(outcome.book, outcome.line, screen="", lot="", melt_cel=None)
    return operating_point(outcome.traces, outcome.timeline.cleanings, (), facts, None)


def _melt_cel(traces: Traces, windows: Sequence[Window]) -> float | None:
    """Mean melt temperature of the steady time, to a whole degree: what the points are compared at."""
    if MELT not in traces or not windows:
        return None
    found = held(traces[MELT], windows)
    return float(round(found.mean)) if found.share > 0 else None


def _windows_by_sitting(stretches: Iterable[Stretch]) -> dict[int, list[Window]]:
    found: dict[int, list[Window]] = {}
    for stretch in stretches:
        found.setdefault(stretch.sitting, []).extend(stretch.windows)
    return found


def _suspicions(excluded: Iterable[Excluded]) -> list[Suspicion]:
    return [
        Suspicion(e.window.start_ns, e.window.end_ns, BAG_LAG_S, e.why)
        for e in excluded
        if "torn" in e.why or "lot" in e.why or "material" in e.why
    ]
