"""What the operator of the simulated line can set: each set-point under the path of its tag."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from simulator.plant import Plant


@dataclass(frozen=True, slots=True)
class Knob:
    """One set-point: how it is read, and how it is turned."""

    read: Callable[[], float]
    turn: Callable[[float], None]


def panel_of(plant: Plant) -> Mapping[str, Knob]:
    """Every set-point of the plant by the path of its tag."""
    knobs = {
        "doser.rate.sp": _attribute(plant.doser, "setpoint_kg_h"),
        "extruder.screw.speed.sp": _attribute(plant.extruder, "screw_setpoint_min"),
        "filter.wipe.dp.sp": _attribute(plant.filter, "trigger_dp_bar"),
        "filter.wipe.inlet.sp": _attribute(plant.filter, "trigger_inlet_bar"),
        "filter.wipe.time.sp": _attribute(plant.filter, "longest_s"),
        "pelletizer.knife.speed.sp": _attribute(plant.knives, "setpoint_min"),
        "pelletizer.knife.pressure.sp": _attribute(plant.knives, "setpoint_bar"),
        "water.supply.temp.sp": _attribute(plant.water, "setpoint_cel"),
        "water.flow.sp": _attribute(plant.water, "flow_setpoint_m3_h"),
    }
    if plant.pump is not None:
        knobs["pump.speed.sp"] = _attribute(plant.pump, "speed_setpoint_min")
        knobs["pump.inlet.pressure.sp"] = _attribute(plant.pump, "inlet_setpoint_bar")
    for zone in plant.zones:
        knobs[f"{zone.name}.temp.sp"] = _attribute(zone, "setpoint_cel")
    return knobs


def _attribute(machine: object, name: str) -> Knob:
    return Knob(lambda: float(getattr(machine, name)), lambda value: setattr(machine, name, value))
