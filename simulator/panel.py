"""What the operator of the simulated line can set: each set-point under the path of its tag."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from simulator.heaters import HeatedZone
from simulator.plant import Plant


@dataclass(frozen=True, slots=True)
class Knob:
    """One set-point: how it is read, and how it is turned."""

    read: Callable[[], float]
    turn: Callable[[float], None]


def panel_of(plant: Plant) -> Mapping[str, Knob]:
    """Every set-point of the plant by the path of its tag."""
    extruder, filter_, pelletizer = plant.extruder, plant.filter, plant.pelletizer
    knobs = {
        "doser.rate.sp": _attribute(extruder, "feed_setpoint_kg_h"),
        "extruder.screw.speed.sp": _attribute(extruder, "screw_setpoint_min"),
        "filter.wipe.dp.sp": _attribute(filter_, "trigger_bar"),
        "filter.wipe.time.sp": _attribute(filter_, "longest_s"),
        "pelletizer.knife.speed.sp": _attribute(pelletizer, "knife_setpoint_min"),
        "pelletizer.knife.pressure.sp": _attribute(pelletizer, "knife_setpoint_bar"),
        "water.supply.temp.sp": _attribute(pelletizer, "water_setpoint_cel"),
    }
    for prefix, zone in zones_of(plant).items():
        knobs[f"{prefix}.temp.sp"] = _attribute(zone, "setpoint_cel")
    for place, plate in enumerate(filter_.plates, start=1):
        knobs[f"filter.plate.{place}.enabled.state"] = _enabling(plate)
    return knobs


def zones_of(plant: Plant) -> Mapping[str, HeatedZone]:
    """Every heated zone of the plant by the front part of its tags."""
    zones = {f"extruder.zone.{n}": zone for n, zone in enumerate(plant.extruder.zones, start=1)}
    zones |= {f"filter.plate.{n}": zone for n, zone in enumerate(plant.filter.plates, start=1)}
    return zones | {"filter.discharge": plant.filter.block, "die.zone.1": plant.pelletizer.die}


def _attribute(machine: object, name: str) -> Knob:
    return Knob(lambda: float(getattr(machine, name)), lambda value: setattr(machine, name, value))


def _enabling(plate: HeatedZone) -> Knob:
    def turn(value: float) -> None:
        plate.taken_out = value < 0.5

    return Knob(lambda: float(not plate.taken_out), turn)
