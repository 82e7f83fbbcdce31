"""What a scenario leaves beside its samples: truth, the machine's own alarms, what the laboratory found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from historian.event import Event
from historian.frame import NS
from historian.quality import is_bad
from simulator.controls.alarm_list import AlarmList, event_of
from simulator.controls.view import Message
from simulator.course import Run
from simulator.gauges import signals_of
from simulator.people.bags import Bags
from simulator.people.diary import events_of
from simulator.recorder import Recorder, Stretch
from simulator.scenarios.scenario import Scenario
from simulator.truth import truth_entries, witness_of

MACHINE = "machine"
_CHUNK_S = 60


@dataclass(frozen=True, slots=True)
class Chronicle:
    """What is known of a played scenario without its samples.

    Attributes:
        truth: one entry a fault, a mistake and a stretch that must stay quiet.
        people: what people did that no tag shows, noted and marked, and the pre-analysis.
        machine: each time an entry of the machine's own alarm list came or went.
        laboratory: results of the bags.
    """

    truth: list[dict[str, Any]]
    people: list[Event]
    machine: list[Event]
    laboratory: list[Event]

    def events(self) -> dict[str, list[dict[str, Any]]]:
        """The events as JSON types, by who says them."""
        told = {"people": self.people, "machine": self.machine, "laboratory": self.laboratory}
        return {who: [asdict(event) for event in events] for who, events in told.items()}


def chronicle(scenario: Scenario, t0_ns: int, end_s: int | None = None) -> Chronicle:
    """Play a scenario once, second by second, and tell what happened in it.

    Args:
        scenario: what is played.
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
        end_s: the second after the last; None: the scenario's duration.
    """
    run = Run(scenario)
    witness = witness_of(scenario, run, Run, signals_of)
    bags, machine = Bags(scenario, t0_ns), AlarmList()
    said: dict[int, list[Message]] = {}
    alarms: list[Event] = []
    results: list[Event] = []

    def mind() -> None:
        second = run.second
        if second > 0:
            witness.look()
        said[second] = run.plant.control.take_messages()
        bags.fill(second, run.plant)
        results.extend(bags.arrived(second))

    recorder = Recorder(run, each_second=mind)
    last = int(scenario.duration_s) if end_s is None else end_s
    for first in range(0, last, _CHUNK_S):
        stretch = recorder.take(range(first, min(first + _CHUNK_S, last)))
        for second, values in _rows(recorder.paths, stretch):
            machine.hear(said.pop(second))
            changed = machine.judge_values(values, t0_ns + second * NS)
            alarms += [event_of(alarm, MACHINE) for alarm in changed]
    # What the laboratory finds comes even after the line has stopped.
    results += bags.arrived(float("inf"))
    return Chronicle(
        truth_entries(scenario, witness.first_visible_s, t0_ns),
        events_of(scenario, t0_ns),
        alarms,
        results,
    )


def _rows(paths: Sequence[str], stretch: Stretch) -> Iterator[tuple[int, dict[str, float]]]:
    """Each second with the good values that the machine's own controller has."""
    (lot,) = stretch.lots
    good = ~is_bad(lot.shown.quality) & lot.shown.present
    rows = zip(stretch.seconds, lot.shown.value.tolist(), good.tolist(), strict=True)
    for second, values, usable in rows:
        if all(usable):
            yield second, dict(zip(paths, values, strict=True))
        else:
            yield second, {p: v for p, v, u in zip(paths, values, usable, strict=True) if u}
