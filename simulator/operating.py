"""The operator of the simulated line: does the steps of a scenario when they are due."""

from __future__ import annotations

import copy

from simulator.build import material_of
from simulator.machines.outlet import GOOD, PURGE, REJECT
from simulator.panel import panel_of
from simulator.plant import Plant
from simulator.scenarios.scenario import Scenario, Step

# A set-point is turned in steps.
_RAMP_STEP_S = 10
_WAYS = {"good": GOOD, "reject": REJECT, "purge": PURGE}


class Operator:
    """The scenario's operator at one plant, with what is still to be done.

    Attributes:
        probe_offsets: tag → how much its changed sensor reads too high, in the tag's unit.
    """

    def __init__(self, scenario: Scenario, plant: Plant) -> None:
        self._scenario = scenario
        self._plant = plant
        self._knobs = panel_of(plant)
        for path, value in scenario.settings.items():
            self._knobs[path].turn(value)
        self._coming = list(reversed(scenario.steps))
        self._ramps: list[tuple[Step, float]] = []
        self.probe_offsets: dict[str, float] = {}

    def at(self, plant: Plant) -> Operator:
        """The same operator, with the same things to do, at a copy of the plant."""
        other = copy.copy(self)
        other.__dict__ |= {
            "_plant": plant,
            "_knobs": panel_of(plant),
            "_coming": list(self._coming),
            "_ramps": list(self._ramps),
            "probe_offsets": dict(self.probe_offsets),
        }
        return other

    def act(self, now: int) -> None:
        """Do what is due at that second."""
        while self._coming and self._coming[-1].at_s <= now:
            self._do(self._coming.pop())
        if self._ramps and now % _RAMP_STEP_S == 0:
            self._turn_on(now)

    def _do(self, step: Step) -> None:
        plant, control = self._plant, self._plant.control
        match step.do.split():
            case [("heating" | "screw" | "water" | "knives") as drive, switch]:
                control.order(drive, switch == "on")
            case ["wipe"]:
                control.wipe()
            case ["jog"]:
                control.jog()
            case ["reset"]:
                control.reset()
            case ["override", switch]:
                control.override(step.key, switch == "on")
            case ["take", "out"] | ["put", "back"]:
                plant.filter.plates[step.place - 1].taken_out = step.do == "take out"
            case ["diverter", way]:
                plant.outlet.diverter = _WAYS[way]
            case ["probe", "change"]:
                self.probe_offsets[step.tag] = self.probe_offsets.get(step.tag, 0.0) + step.to
            case ["refill"]:
                plant.doser.refilling = True
            case ["lot", "change"]:
                scenario = self._scenario
                plant.load(material_of(scenario.material_at(step.at_s), scenario.variation))
            case ["set"]:
                self._set(step)
            case _:
                self._with_tools(step)

    def _with_tools(self, step: Step) -> None:
        """What is done at a line that stands still."""
        plant = self._plant
        match step.do:
            case "screen change" if step.screen is not None:
                new = step.screen
                area_m2 = None if new.area_cm2 is None else new.area_cm2 * 1e-4
                plant.filter.change_screen(new.serial, fineness_um=new.fineness_um, area_m2=area_m2)
            case "knife change":
                plant.knives.change()
            case "clear outlet":
                plant.filter.clear_discharge()
            case "blade change":
                # The wear of a blade is a fault's; a new blade is where the fault ends.
                pass

    def _set(self, step: Step) -> None:
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
