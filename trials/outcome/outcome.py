"""A trial put together: what was written down, what happened, the figures of each operating point. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from historian.tags import Tag
from process.phases import Phase
from rules.line import LineFacts
from rules.review import Window
from trials.bags import FilledBag, SuspectBag
from trials.figures.operating_point import Facts, OperatingPoint
from trials.figures.trace import Traces
from trials.phases import KeptPhase
from trials.record import Trial
from trials.record.book import Book
from trials.results import LabResult
from trials.segments import Timeline
from trials.settings import Setting
from trials.sittings import Sitting


@dataclass(frozen=True, slots=True)
class Stretch:
    """Time in which nothing was set otherwise, with one screen and one lot, within one sitting.

    Attributes:
        number: of the operating point, from 1 on; stretches with equal settings, screen and lot share one.
        sitting: number of the sitting.
        windows: its steady time, less what must not count.
        settings: path of a set-point → its value; only what tells operating points apart.
        screen: serial of the screen, empty when not told.
        lot: of the feed, empty when not told.
    """

    number: int
    sitting: int
    windows: tuple[Window, ...]
    settings: Mapping[str, float]
    screen: str
    lot: str


@dataclass(frozen=True, slots=True)
class Point:
    """One operating point with its figures.

    Attributes:
        number: from 1 on, in the order of time.
        stretches: where it was run; more than one when it was returned to.
        facts: what was told of line, material and samples for it.
        figures: over all its windows; figures of one sitting in ``by_sitting``.
        by_sitting: number of the sitting → the figures of its windows; empty where there was one sitting.
    """

    number: int
    stretches: tuple[Stretch, ...]
    facts: Facts
    figures: OperatingPoint
    by_sitting: Mapping[int, OperatingPoint] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """As tables call it, such as "P1"."""
        return f"P{self.number}"

    @property
    def settings(self) -> Mapping[str, float]:
        """What was set."""
        return self.stretches[0].settings

    @property
    def screen(self) -> str:
        """Serial of the screen; empty when not told."""
        return self.stretches[0].screen

    @property
    def lot(self) -> str:
        """Of the feed; empty when not told."""
        return self.stretches[0].lot

    @property
    def windows(self) -> tuple[Window, ...]:
        """All of its steady time."""
        return tuple(w for s in self.stretches for w in s.windows)


@dataclass(frozen=True, slots=True)
class Excluded:
    """Time that no figure speaks of, and why, in a sentence."""

    window: Window
    why: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """Everything that a report, a comparison or the question "enough?" is made of.

    Attributes:
        line: name and facts of the line.
        tags: as the store knows them, by path.
        book: what the record says now; its entries are the notes, samples, screens, lots, weighings, bags.
        end_ns: the trial's end; while it is under way: until when it was looked at.
        timeline: phases, settings changes, cleanings, alarms and marks.
        sittings: days of work, at least one.
        points: operating points, in the order of time; none when nothing ran steadily.
        excluded: time that does not count, with reasons.
        results: of the laboratory and the pre-analysis.
        bags, suspects: filled bags, and which of them may be spoilt.
        traces: path → samples of the trial's time, as pictures need them.
        judged: whether rules judged the trial; without, alarms are unknown rather than none.
        settings: changes of settings, with what was written of them.
        phases: those of the timeline, and which of them somebody set.
        found_otherwise: phases that are found now and differ from what was cut by hand.
    """

    trial: Trial
    line: LineFacts
    tags: Mapping[str, Tag]
    book: Book
    end_ns: int
    timeline: Timeline
    sittings: tuple[Sitting, ...]
    points: tuple[Point, ...]
    excluded: tuple[Excluded, ...]
    results: tuple[LabResult, ...]
    bags: tuple[FilledBag, ...]
    suspects: tuple[SuspectBag, ...]
    traces: Traces
    judged: bool = True
    settings: tuple[Setting, ...] = ()
    phases: tuple[KeptPhase, ...] = ()
    found_otherwise: tuple[Phase, ...] = ()

    @property
    def under_way(self) -> bool:
        """Whether the trial has no end yet."""
        return self.trial.end_ns is None

    @property
    def main(self) -> Point | None:
        """The operating point that answers for the trial: the longest valid one, else the longest."""

        def rank(point: Point) -> tuple[bool, float]:
            return (not point.figures.indicative, sum(w.s for w in point.windows))

        return max(self.points, key=rank, default=None)
