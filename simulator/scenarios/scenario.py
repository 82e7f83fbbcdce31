"""A scenario: what the simulated line is like and fed with, what its people do, what goes wrong when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from simulator.faults import FaultOrder
from simulator.scenarios.sheets import (
    Analysis,
    Blocking,
    LineSheet,
    Lot,
    MaterialSheet,
    MeltFlow,
    Screen,
    SourceSheet,
    WiperTrigger,
)

__all__ = [
    "Action",
    "Analysis",
    "Blocking",
    "Label",
    "LineSheet",
    "Lot",
    "MaterialSheet",
    "MeltFlow",
    "Note",
    "Place",
    "Sample",
    "Scenario",
    "Screen",
    "SourceSheet",
    "Step",
    "WiperTrigger",
]

Action = Literal[
    "heating on",
    "heating off",
    "screw on",
    "screw off",
    "water on",
    "water off",
    "knives on",
    "knives off",
    "wipe",
    "jog",
    "reset",
    "override on",
    "override off",
    "screen change",
    "blade change",
    "knife change",
    "clear outlet",
    "take out",
    "put back",
    "probe change",
    "refill",
    "diverter good",
    "diverter reject",
    "diverter purge",
    "lot change",
    "set",
]
Place = Literal["pellets", "discharge", "feed"]


@dataclass(frozen=True, slots=True)
class Step:
    """One act of the operator.

    Attributes:
        at_s: when, seconds from the start of the scenario.
        do: which.
        tag, to: with ``set``: path of the set-point and its new value in the tag's unit; with
            ``probe change``: path of the sensor, and by how much the new one reads higher than the old.
        over_s: with ``set``: how long the way there takes; 0: at once.
        place: with ``take out`` and ``put back``: number of the heater plate.
        key: with ``override on`` and ``override off``: which permissive.
        screen: with ``screen change``.
        lot: with ``lot change``.
    """

    at_s: float
    do: Action
    tag: str = ""
    to: float = 0.0
    over_s: float = 0.0
    place: int = 0
    key: str = ""
    screen: Screen | None = None
    lot: Lot | None = None


@dataclass(frozen=True, slots=True)
class Label:
    """A stretch of the scenario with a name: ground truth, a stretch that must stay quiet, or a mere phase.

    Attributes:
        id, text: name and meaning.
        from_s, until_s: its start and end, seconds from the start of the scenario.
        must_stay_quiet: nothing is wrong in it, however it looks.
        fault: name of what is wrong; empty where nothing is.
        tags: where it shows.
        expected_severity: 1–4 that a finding of it should have; None where nothing is wrong.
        must_detect_within_s: how soon after ``from_s`` it should be found.
        must_not_alarm: faults that must not be named for it.
    """

    id: str
    text: str
    from_s: float
    until_s: float
    must_stay_quiet: bool = False
    fault: str = ""
    tags: tuple[str, ...] = ()
    expected_severity: int | None = None
    must_detect_within_s: float | None = None
    must_not_alarm: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sample:
    """A bag that somebody fills and the laboratory measures.

    Attributes:
        bag: its number.
        at_s: when it is filled.
        place: where.
        measures: names of what the laboratory finds out, keys of ``simulator.people.laboratory.MEASURES``.
        results_s: when the results arrive.
    """

    bag: str
    at_s: float
    place: Place
    measures: tuple[str, ...]
    results_s: float


@dataclass(frozen=True, slots=True)
class Note:
    """What a person writes down or ticks.

    Attributes:
        at_s: when.
        role: whose words, such as ``operator``; no names of persons.
        text: the words.
        mark: the button that was pressed; empty: none.
    """

    at_s: float
    role: str
    text: str
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Scenario:
    """What is played.

    Attributes:
        name, title: short name; for a person.
        seed: of every random stream.
        duration_s: of the batch form; a served line goes on after it.
        customer, trial: for whom and under which number; invented.
        opens_s: where somebody who only wants to see the story starts to watch.
        material, line: what the line is fed with at the start, and built like.
        scatter: whether sensors, material and machine scatter.
        settings: set-points at the start, by path of their tag.
        steps: what the operator does, in order of time.
        faults: what goes wrong.
        labels: named stretches.
        samples: what the laboratory gets.
        notes: what people write down, in order of time.
        pre_analysis: what was known of the material before.
        sources: controllers whose clocks are off; one that is not named here has a good one.
        variation: how this line differs from the one that the file describes, by the names in
            ``simulator.scenarios.variation.FACTORS``; a name that is not there: not at all.
    """

    name: str
    title: str
    seed: int
    duration_s: float
    customer: str = ""
    trial: str = ""
    opens_s: float = 0.0
    material: MaterialSheet = field(default_factory=MaterialSheet)
    line: LineSheet = field(default_factory=LineSheet)
    scatter: bool = True
    settings: Mapping[str, float] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()
    faults: tuple[FaultOrder, ...] = ()
    labels: tuple[Label, ...] = ()
    samples: tuple[Sample, ...] = ()
    notes: tuple[Note, ...] = ()
    pre_analysis: tuple[Analysis, ...] = ()
    sources: tuple[SourceSheet, ...] = ()
    variation: Mapping[str, float] = field(default_factory=dict)

    @property
    def polymer(self) -> str:
        """A key of the table of polymers."""
        return self.material.polymer

    @property
    def dirt_percent(self) -> float:
        """Dirt that can be filtered, of the feed at the start."""
        return self.material.dirt_percent

    @property
    def plates(self) -> int:
        """Heater plates of the filter."""
        return self.line.plates

    def material_at(self, second: float) -> MaterialSheet:
        """What the line is fed with at that second, after the lot changes until then."""
        sheet = self.material
        for step in self.steps:
            if step.lot is not None and step.at_s <= second:
                sheet = step.lot.applied_to(sheet)
        return sheet

    def without_faults(self) -> Scenario:
        """The same day without anything going wrong; the operator does the same."""
        return replace(self, faults=())

    def without_scatter(self) -> Scenario:
        """The same day with perfect sensors, an even material and machines all alike."""
        return replace(self, scatter=False)
