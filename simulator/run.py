"""Plays a scenario: one trajectory of the plant, whether as a batch, live, or for its truth."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from historian.errors import UnknownTag, WrongInput
from historian.frame import NS, Frame
from historian.quality import GOOD, Mask
from historian.tags import Tag
from simulator.faults import FAULTS, upsets_at
from simulator.filter import FilterDesign
from simulator.melt import POLYMERS
from simulator.panel import panel_of
from simulator.plant import Plant, PlantDesign
from simulator.scenario import Scenario, Step
from simulator.signals import Instruments, Readings, signals_of, tag_of

SOURCE = "simulated-line"
# An operator turns a set-point in steps.
_RAMP_STEP_S = 10

_REPEAT_S = 60


class Run:
    """A scenario under way: the plant, its operator and its faults, second by second.

    Attributes:
        second: the simulated second that the plant is at.
        plant: the plant itself.
        first_visible_s: fault id → second at which an outsider could first see it, as far as played.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.plant = Plant(
            PlantDesign(
                polymer=POLYMERS[scenario.polymer],
                dirt_share=scenario.dirt_percent / 100.0,
                scatter=scenario.scatter,
                seed=scenario.seed,
                filter=FilterDesign(plates=scenario.plates),
            )
        )
        self.first_visible_s: dict[str, int] = {}
        self._knobs = panel_of(self.plant)
        for path, value in scenario.settings.items():
            self._knobs[path].turn(value)
        self._coming = list(reversed(scenario.steps))
        self._ramps: list[tuple[Step, float]] = []
        self._act()

    @property
    def second(self) -> int:
        """The simulated second that the plant is at."""
        return self.plant.second

    def advance(self, second: int) -> None:
        """Play on to that second; what the operator does in it is done.

        Raises:
            WrongInput: for a second that lies behind.
        """
        if second < self.plant.second:
            raise WrongInput(f"the run is at second {self.plant.second} and cannot go back to {second}")
        plant = self.plant
        while plant.second < second:
            plant.step()
            self._watch()
            self._act()

    def _act(self) -> None:
        now = self.plant.second
        if self.scenario.faults:
            self.plant.upsets = upsets_at(now, self.scenario.faults)
        while self._coming and self._coming[-1].at_s <= now:
            self._do(self._coming.pop())
        if self._ramps and now % _RAMP_STEP_S == 0:
            self._turn_on(now)

    def _do(self, step: Step) -> None:
        plant = self.plant
        match step.do:
            case "heating on" | "heating off":
                plant.heat(step.do == "heating on")
            case "screw on" | "screw off":
                plant.run_screw(step.do == "screw on")
            case "wipe":
                plant.filter.ask_for_wipe()
            case "set":
                self._ramps = [(s, start) for s, start in self._ramps if s.tag != step.tag]
                knob = self._knobs[step.tag]
                if step.over_s > 0.0:
                    self._ramps.append((step, knob.read()))
                else:
                    knob.turn(step.to)

    def _turn_on(self, now: int) -> None:
        for step, start in self._ramps:
            part = min(1.0, (now - step.at_s) / step.over_s)
            self._knobs[step.tag].turn(round(start + (step.to - start) * part, 1))
        self._ramps = [(s, start) for s, start in self._ramps if now < s.at_s + s.over_s]

    def _watch(self) -> None:
        """Note when a fault could first be seen; upsets are still those of the step just made."""
        for order in self.scenario.faults:
            if order.id in self.first_visible_s or order.level(self.plant.second - 1) <= 0.0:
                continue
            if FAULTS[order.fault].visible(self.plant, order.place or 0):
                self.first_visible_s[order.id] = self.plant.second


class Recorder:
    """Reads the run's signals as its sensors show them.

    Attributes:
        paths: path of each signal, in the order of the columns.
        held: which of them hold until they change (set-points, states, counters), shape (signals,).
    """

    def __init__(self, run: Run, *, aux_channels: int = 0) -> None:
        self.run = run
        self._signals = signals_of(run.plant, aux_channels)
        self._read = [s.read for s in self._signals]
        self.paths = [s.path for s in self._signals]
        self.held = np.array([tag_of(p, SOURCE).holds for p in self.paths], dtype=bool)
        scenario = run.scenario
        self._instruments = Instruments(self._signals, seed=scenario.seed, scatter=scenario.scatter)

    def record(self, seconds: Sequence[int]) -> Readings:
        """What the sensors show at those rising seconds, shape (seconds, signals)."""
        rows = []
        for second in seconds:
            self.run.advance(second)
            rows.append([read() for read in self._read])
        return self._instruments.show(seconds, np.array(rows))


def published_tags(scenario: Scenario, *, source: str = SOURCE, aux_channels: int = 0) -> list[Tag]:
    """The tags that the simulated line publishes, without store numbers."""
    return [tag_of(s.path, source) for s in signals_of(Run(scenario).plant, aux_channels)]


def batch(
    scenario: Scenario,
    tags: Mapping[str, Tag],
    t0_ns: int,
    start_s: int = 0,
    end_s: int | None = None,
    *,
    chunk_s: int = 60,
    period_s: int = 1,
    aux_channels: int = 0,
    arrival_ns: Callable[[int], int] | None = None,
) -> Iterator[Frame]:
    """Plays the scenario as fast as it goes and gives its samples in frames of ``chunk_s`` seconds.

    Measured values come every ``period_s``; set-points, states and counters at the start and when they
    change.

    Args:
        tags: the store's tags by path; every published path must be among them.
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
        start_s, end_s: first second, and the one after the last; None: the scenario's duration.
        arrival_ns: arrival of a frame from the source time of its last sample; None: the same.

    Raises:
        UnknownTag: a published path has no tag.
        WrongInput: a period or a chunk that is not a whole number of seconds above zero.
    """
    if period_s < 1 or chunk_s < period_s or int(period_s) != period_s or int(chunk_s) != chunk_s:
        raise WrongInput("period_s and chunk_s are whole seconds, the chunk not shorter than the period")
    last = int(scenario.duration_s) if end_s is None else end_s
    recorder = Recorder(Run(scenario), aux_channels=aux_channels)
    missing = [p for p in recorder.paths if p not in tags]
    if missing:
        raise UnknownTag(
            f"the store has no tag for {missing[0]} and {len(missing) - 1} more: register them first"
        )
    ids = np.array([tags[p].id for p in recorder.paths], dtype=np.int32)
    before: Readings | None = None
    for first in range(start_s, last, chunk_s):
        seconds = range(first, min(first + chunk_s, last), period_s)
        shown = recorder.record(seconds)
        published = to_publish(shown, before, recorder.held)
        published[np.asarray(seconds) % _REPEAT_S == 0] = True
        rows, columns = np.nonzero(published)
        times = t0_ns + np.asarray(seconds, dtype=np.int64) * NS
        newest = t0_ns + seconds[-1] * NS
        yield Frame.of(
            ids[columns],
            times[rows],
            shown[rows, columns],
            np.full(len(rows), GOOD, dtype=np.uint32),
            arrival_ns=newest if arrival_ns is None else arrival_ns(newest),
        )
        before = shown[-1:]


def to_publish(shown: Readings, before: Readings | None, held: Mask) -> Mask:
    """Which values are published: measured ones always, held ones where they changed.

    Args:
        shown: shape (seconds, signals).
        before: the second before, shape (1, signals); None: nothing was published yet.
        held: shape (signals,).
    """
    nothing = np.full((1, shown.shape[1]), np.nan)
    earlier = np.concatenate([nothing if before is None else before, shown[:-1]])
    changed: Mask = shown != earlier
    return changed | ~held


def truth(scenario: Scenario, t0_ns: int) -> list[dict[str, Any]]:
    """What really goes wrong in a scenario, and when; plays it once without sampling.

    ``first_visible_ns`` is None for a fault that nobody could see before the end.
    """
    run = Run(scenario)
    run.advance(int(scenario.duration_s))
    return [
        {
            "id": order.id,
            "fault": order.fault,
            "tags": list(order.tags()),
            "place": order.place,
            "severity": order.severity,
            "onset_ns": _at(t0_ns, order.onset_s),
            "end_ns": None if order.end_s is None else _at(t0_ns, order.end_s),
            "first_visible_ns": _at(t0_ns, run.first_visible_s.get(order.id)),
        }
        for order in scenario.faults
    ]


def labels(scenario: Scenario, t0_ns: int) -> list[dict[str, Any]]:
    """The scenario's named stretches with their times."""
    return [
        {
            "id": label.id,
            "text": label.text,
            "start_ns": _at(t0_ns, label.from_s),
            "end_ns": _at(t0_ns, label.until_s),
        }
        for label in scenario.labels
    ]


def write_truth(path: Path, scenario: Scenario, t0_ns: int) -> None:
    """Write the truth of a scenario as a JSON list."""
    path.write_text(json.dumps(truth(scenario, t0_ns), indent=2) + "\n", encoding="utf-8")


def _at(t0_ns: int, second: float | None) -> int | None:
    return None if second is None else t0_ns + round(second * 1000) * (NS // 1000)
