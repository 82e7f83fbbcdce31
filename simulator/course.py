"""One trajectory of the plant: a scenario under way, with its operator and its faults."""

from __future__ import annotations

import copy
from dataclasses import replace

from historian.errors import WrongInput
from simulator.build import build
from simulator.faults import FaultsUnderWay
from simulator.operating import Operator
from simulator.plant import Plant
from simulator.scenarios.scenario import Scenario


class Run:
    """A scenario under way: the plant, its operator and its faults, second by second.

    Args:
        dt_s: step of the plant, a whole part of a second.

    Attributes:
        second: the simulated second that the plant is at.
        plant: the plant itself.
        ticks_a_second: steps of the plant in a second.
    """

    def __init__(self, scenario: Scenario, *, dt_s: float = 1.0) -> None:
        self.scenario = scenario
        self.plant: Plant = build(scenario, dt_s)
        self.ticks_a_second = round(1.0 / dt_s)
        self._operator = Operator(scenario, self.plant)
        self._faults = FaultsUnderWay(scenario.faults)
        self._melt_kg = 0.0
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
        while self.plant.second < second:
            self.step()

    def step(self) -> None:
        """Play one step of the plant; the operator acts on whole seconds."""
        plant = self.plant
        plant.step()
        self._melt_kg += plant.extruder.flow_kg_s * plant.dt_s
        if plant.tick % self.ticks_a_second == 0:
            self._act()

    def fork(self, without: str) -> Run:
        """The same run from here on, apart from this one, in which the fault of that id never comes."""
        other = copy.copy(self)
        plant = copy.deepcopy(self.plant)
        left = tuple(order for order in self.scenario.faults if order.id != without)
        other.scenario, other.plant = replace(self.scenario, faults=left), plant
        other.__dict__ |= {"_operator": self._operator.at(plant), "_faults": self._faults.without(without)}
        return other

    def _act(self) -> None:
        plant = self.plant
        now = plant.second
        scenario, operator = self.scenario, self._operator
        if scenario.faults or operator.probe_offsets:
            upsets = self._faults.upsets(now, self._melt_kg)
            for path, offset in operator.probe_offsets.items():
                upsets.sensor(path).offset += offset
            plant.upsets = upsets
            self._faults.hands_on(upsets, plant.zones_by_name)
        operator.act(now)
