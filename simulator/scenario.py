"""A scenario: what the simulated line is fed with, what its operator does, and what goes wrong when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from simulator.faults import FaultOrder

Action = Literal["heating on", "heating off", "screw on", "screw off", "wipe", "set"]


@dataclass(frozen=True, slots=True)
class Step:
    """One act of the operator.

    Attributes:
        at_s: when, seconds from the start of the scenario.
        do: which.
        tag, to: with ``set``: path of the set-point and its new value in the tag's unit.
        over_s: with ``set``: how long the way there takes; 0: at once.
    """

    at_s: float
    do: Action
    tag: str = ""
    to: float = 0.0
    over_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Label:
    """A stretch of the scenario with a name, for whoever reads its results.

    Attributes:
        id, text: name and meaning.
        from_s, until_s: its start and end, seconds from the start of the scenario.
    """

    id: str
    text: str
    from_s: float
    until_s: float


@dataclass(frozen=True, slots=True)
class Scenario:
    """What is played.

    Attributes:
        name, title: short name; for a person.
        seed: of every random stream.
        duration_s: of the batch form; a served line goes on after it.
        polymer: a key of ``simulator.melt.POLYMERS``.
        dirt_percent: dirt that can be filtered, of the feed.
        plates: heater plates of the filter.
        scatter: whether sensors, material and machine scatter.
        settings: set-points at the start, by path of their tag.
        steps: what the operator does, in order of time.
        faults: what goes wrong.
        labels: named stretches.
    """

    name: str
    title: str
    seed: int
    duration_s: float
    polymer: str = "LDPE"
    dirt_percent: float = 1.4
    plates: int = 8
    scatter: bool = True
    settings: Mapping[str, float] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()
    faults: tuple[FaultOrder, ...] = ()
    labels: tuple[Label, ...] = ()

    def without_faults(self) -> Scenario:
        """The same day without anything going wrong; the operator does the same."""
        return replace(self, faults=())

    def without_scatter(self) -> Scenario:
        """The same day with perfect sensors, an even material and machines all alike."""
        return replace(self, scatter=False)
