"""A run without a plant: its signals follow the clock, so that a test knows what they should be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import sin
from typing import cast

from simulator.course import Run
from simulator.machines.upsets import Upsets
from simulator.recorder import Recorder
from simulator.scenarios.scenario import Scenario, SourceSheet
from simulator.sensors import Sensor, Signal

Fault = Callable[[int, Upsets], None]

MEASURED = Sensor(
    sigma=0.3, drift_per_root_h=0.5, drift_bound=1.0, missing_share=0.05, jitter_s=0.08, lag_s=2.0
)
FAST = Sensor(sigma=0.3, memory=0.8, missing_share=0.01, jitter_s=0.08, fast=True)


@dataclass
class MadeUpPlant:
    """What a recorder needs of a plant."""

    dt_s: float
    tick: int = 0
    upsets: Upsets = field(default_factory=Upsets)

    @property
    def second(self) -> int:
        return self.tick // round(1.0 / self.dt_s)

    @property
    def time_s(self) -> float:
        return self.tick * self.dt_s


class MadeUpRun:
    """A run whose faults are a function of the second."""

    def __init__(self, scenario: Scenario, dt_s: float = 1.0, fault: Fault | None = None) -> None:
        self.scenario = scenario
        self.plant = MadeUpPlant(dt_s)
        self.ticks_a_second = round(1.0 / dt_s)
        self._fault = fault
        self._act()

    @property
    def second(self) -> int:
        return self.plant.tick // self.ticks_a_second

    def advance(self, second: int) -> None:
        while self.second < second:
            self.step()

    def step(self) -> None:
        self.plant.tick += 1
        self._act()

    def _act(self) -> None:
        self.plant.upsets = Upsets()
        if self._fault is not None:
            self._fault(self.second, self.plant.upsets)


def made_up_signals(plant: MadeUpPlant, aux_channels: int = 0) -> list[Signal]:
    """One or two signals of each source, each its own function of time."""
    return [
        Signal("extruder.melt.temp.pv", lambda: 200.0 + 10.0 * sin(plant.time_s / 40.0), MEASURED),
        Signal("filter.inlet.pressure.pv", lambda: 90.0 + 5.0 * sin(plant.time_s / 30.0), FAST),
        Signal("filter.outlet.pressure.pv", lambda: 60.0 + 2.0 * sin(plant.time_s / 20.0), FAST),
        Signal(
            "filter.dp.calc",
            lambda: 0.0,
            Sensor(jitter_s=0.08, fast=True),
            ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv"),
        ),
        Signal("water.flow.pv", lambda: 22.0 + 0.1 * plant.time_s, MEASURED),
        Signal("filter.wiper.state", lambda: float(plant.second // 50 % 2), Sensor(decimals=None)),
        Signal("room.temp.pv", lambda: 20.0, MEASURED),
    ]


def made_up_run(
    *,
    seed: int = 1,
    scatter: bool = True,
    duration_s: float = 300.0,
    dt_s: float = 1.0,
    fault: Fault | None = None,
    clocks: dict[str, float] | None = None,
) -> Run:
    """A run that a recorder takes for a real one; let ``made_up_signals`` stand for the line's own."""
    sources = tuple(SourceSheet(name, clock_s=ahead) for name, ahead in (clocks or {}).items())
    scenario = Scenario("made-up", "made up", seed, duration_s, scatter=scatter, sources=sources)
    return cast("Run", MadeUpRun(scenario, dt_s, fault))


def made_up_recorder(fast_hz: float | None = None, **run: object) -> Recorder:
    """A recorder of such a run."""
    return Recorder(made_up_run(**run), fast_hz=fast_hz)  # type: ignore[arg-type]
