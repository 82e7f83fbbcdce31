"""A trial as the sections of a report look at it: its points, what was told, how many samples a figure has.

Pure.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

import numpy as np

from historian.errors import WrongInput
from historian.units import quantity
from rules.review import Window
from trials.figures import Figure, OperatingPoint
from trials.figures.cleaning import WIPER, cycles_within, whole_periods
from trials.outcome import Outcome, Point
from trials.outcome.together import nothing_steady
from trials.phases import KeptPhase
from trials.record.entries import Entry, What
from trials.report.speech import NOTHING, Speech
from trials.report.wanted import Wanted

_SAMPLES: Final = re.compile(r"(\d+) samples; ")
_OVER_PERIODS: Final = ("cleaning period", "scatter of the cleaning period", "discharged at a cleaning")


@dataclass
class View:
    """What every section is given."""

    outcome: Outcome
    say: Speech
    wanted: Wanted = field(default_factory=Wanted)

    @cached_property
    def main(self) -> Point | None:
        """The operating point that answers for the trial."""
        return self.outcome.main

    @cached_property
    def figures(self) -> OperatingPoint:
        """Its figures; where nothing ran steadily, the reasons why there are none."""
        return nothing_steady(self.outcome) if self.main is None else self.main.figures

    @cached_property
    def phases(self) -> tuple[KeptPhase, ...]:
        """The phases that count: as cut by hand where somebody has, else as found."""
        found = self.outcome.timeline.phases
        return self.outcome.phases or tuple(KeptPhase(p) for p in found)

    def figure(self, *names: str, point: OperatingPoint | None = None) -> Figure:
        """The first of these figures that has a value; the last one where none has.

        Raises:
            KeyError: there is no figure of the last name.
        """
        of = self.figures if point is None else point
        found = None
        for name in names:
            try:
                found = of.figure(name)
            except KeyError:
                continue
            if found.value is not None:
                return found
        if found is None:
            raise KeyError(names[-1])
        return found

    def count(self, figure: Figure) -> int | None:
        """How many samples, or cleanings, a figure rests on; None where that is not told."""
        windows = figure.windows
        cleanings = self.outcome.timeline.cleanings
        if figure.value is None:
            return None
        if figure.name in _OVER_PERIODS:
            return len(whole_periods(cleanings, windows))
        if WIPER in figure.tags or "clean" in figure.name or figure.name in ("recovery", "blocking power"):
            return len(cycles_within(cleanings, windows))
        told = [m[1] for r in figure.remarks if (m := _SAMPLES.match(r))]
        if told and not figure.tags:
            return int(told[0])
        known = [self._samples(path, windows) for path in figure.tags if path in self.outcome.traces]
        return min(known) if known else None

    def count_shown(self, figure: Figure) -> str:
        """The same in words; a dash where it is not told."""
        number = self.count(figure)
        return NOTHING if number is None else self.say.count(number)

    def lot_of(self, point: Point) -> str:
        """The lot that a point was fed with, and its bale; a dash where it was not told."""
        lot, _, bale = point.lot.partition(", bale ")
        return self.say("{lot}, bale {bale}", lot=lot, bale=bale) if bale else lot or NOTHING

    def stamp(self, time_ns: int) -> str:
        """A time of the trial: the clock, and the day where it lasted over more than one."""
        say, trial = self.say, self.outcome.trial
        one_day = say.day(trial.start_ns) == say.day(self.outcome.end_ns)
        return say.clock(time_ns) if one_day else f"{say.day(time_ns)} {say.clock(time_ns)}"

    def _samples(self, path: str, windows: Sequence[Window]) -> int:
        trace = self.outcome.traces[path]
        number = 0
        for window in windows:
            first, last = np.searchsorted(trace.time_ns, [window.start_ns, window.end_ns])
            number += int(np.count_nonzero(~np.isnan(trace.value[first:last])))
        return number

    def screen_of(self, point: Point | None) -> Entry | None:
        """What was told of the screen that a point was run with."""
        screens = self.outcome.book.all_of(What.SCREEN)
        if point is not None and point.screen:
            return next((s for s in reversed(screens) if s.data["serial"] == point.screen), None)
        return screens[0] if len(screens) == 1 else None

    def fineness_um(self, point: Point | None) -> float | None:
        """Of the screen of a point, as told; else as the line's file has it."""
        screen = self.screen_of(point)
        if screen is not None:
            return self.read(screen.data.get("fineness"), "um")
        of_line = self.outcome.line.melt_filter
        return None if of_line is None else of_line.fineness_um

    def read(self, written: Any, unit: str) -> float | None:
        """A quantity as it was written, in a unit; None where there is none."""
        if written is None:
            return None
        try:
            return quantity(str(written), unit)
        except WrongInput:
            return None

    def told(self, written: Any, unit: str) -> str:
        """A quantity as it was written, in the reader's units; as it was where it cannot be read."""
        number = self.read(written, unit)
        if number is None:
            return NOTHING if written is None else str(written)
        return self.say.told(number, unit)

    def absent(self, figures: Iterable[Figure]) -> list[Figure]:
        """Those that have no value."""
        return [f for f in figures if f.value is None]
