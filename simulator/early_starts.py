"""Starts before the soak is over, as a scenario's labels announce them and as the line's own clock saw them.

The same step of the same operator comes too early on a plant that heats slowly and in time on one that heats
fast: only the run can tell whether the soak was short.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Protocol

from simulator.controls.line_control import LineControl
from simulator.scenarios.scenario import Label
from simulator.sensors import Signal

FAULT = "soak_short"
# The clocks of two watchers differ by about so much; who lacks no more cannot be told from who lacks nothing.
# Common practice, no source.
UNCERTAIN_S = 120.0
# Drives and states at rest show less.
_AT_REST = 0.5


class _Plant(Protocol):
    """What is looked at of a plant."""

    @property
    def control(self) -> LineControl:
        """The line's controls with their clock of the soak."""


class EarlyStarts:
    """Waits for what the labels announce, second by second.

    Args:
        labels: of the scenario; those of other faults are passed over.
        injected: ids of faults that are injected; a twin tells when these can be seen.

    Attributes:
        seen: label id → second at which something moved although the soak was short; a label whose start was
            in time, or was refused, is not there.
    """

    def __init__(self, labels: Iterable[Label], injected: Iterable[str] = ()) -> None:
        without = set(injected)
        self._waiting = [x for x in labels if x.fault == FAULT and x.id not in without]
        self.seen: dict[str, int] = {}

    @property
    def waiting(self) -> bool:
        """Whether a label has not come to its end yet."""
        return bool(self._waiting)

    def look(self, now: int, plant: _Plant, signals_of: Callable[[_Plant], Sequence[Signal]]) -> None:
        """Look at the second that the run has just reached; none may be left out."""
        open_now = [x for x in self._waiting if x.from_s <= now]
        if not open_now:
            return
        reads = {s.path: s.read for s in signals_of(plant)}
        for label in open_now:
            if _moves(label, reads):
                control = plant.control
                if control.design.soak_s - control.soak.seconds > UNCERTAIN_S:
                    self.seen[label.id] = now
                self._waiting.remove(label)
            elif now >= label.until_s:
                self._waiting.remove(label)


def _moves(label: Label, reads: Mapping[str, Callable[[], float]]) -> bool:
    return any(reads[tag]() > _AT_REST for tag in label.tags if tag in reads)
