"""Which variable of a machine after OPC 40084 v2 is which of our tags.

Source: browse names and types of the nodesets of OPC 40084 v2.00, parts 1, 2, 3, 5, 6 and 8; canonical names:
``historian.catalogue``; what the standard has and the catalogue has not gets a name in the same manner.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal

MachineName = Literal["ExtrusionLine", "Extruder", "Filter", "MeltPump", "Pelletizer"]

OPC: Final = "http://opcfoundation.org/UA/"
MACHINERY: Final = f"{OPC}Machinery/"
MACHINES_FOLDER: Final = f"nsu={MACHINERY};i=1001"
"""Where the companion specifications put machines. Source: OPC 40001-1, 10.2."""

_EXTRUSION: Final = f"{OPC}PlasticsRubber/Extrusion_v2/"
_GENERAL: Final = f"{_EXTRUSION}GeneralTypes/"
_PLASTICS: Final = f"{OPC}PlasticsRubber/GeneralTypes/"

STANDARD: Final = (OPC, "http://www.opcfoundation.org/")
"""How the namespaces begin whose names a standard has given."""


@dataclass(frozen=True, slots=True)
class MachineType:
    """A type of machine.

    Attributes:
        type: node of the type.
        uri: namespace of the part that describes it.
        prefix: first word of neutral paths below such a machine.
    """

    type: str
    uri: str
    prefix: str


def _machine(name: str, number: int, prefix: str) -> MachineType:
    uri = f"{_EXTRUSION}{name}/"
    return MachineType(f"nsu={uri};i={number}", uri, prefix)


MACHINES: Final[Mapping[MachineName, MachineType]] = {
    "ExtrusionLine": _machine("ExtrusionLine", 1003, "line"),
    "Extruder": _machine("Extruder", 1015, "extruder"),
    "Filter": _machine("Filter", 1002, "filter"),
    "MeltPump": _machine("MeltPump", 1002, "pump"),
    "Pelletizer": _machine("Pelletizer", 1004, "pelletizer"),
}


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a path.

    Attributes:
        uri: namespace of its name; where the name is left to the machine's maker, so is its namespace.
        name: browse name; ``NAME_#`` ends in a place number, ``NAME_%`` in the number of a machine in the
            machine, ``*`` is any name.
    """

    uri: str
    name: str


@dataclass(frozen=True, slots=True)
class Row:
    """One variable.

    Attributes:
        machine: whose it is.
        steps: from the machine down to it.
        tag: its tag, with ``#`` for the place number; empty where only a free text tells.
    """

    machine: MachineName
    steps: tuple[Step, ...]
    tag: str

    @property
    def family(self) -> tuple[MachineName, str]:
        """What comes as a whole: the machine, or the machines in it that are numbered."""
        inner = next((s.name for s in self.steps if s.name.endswith("_%")), "")
        return self.machine, inner


def _zones(tag: str) -> Iterator[tuple[str, str]]:
    at = "M:TemperatureZones/G:TemperatureZone_#"
    yield f"{at}/P:ActualValue", f"{tag}.temp.pv"
    yield f"{at}/P:SetValue", f"{tag}.temp.sp"
    yield f"{at}/G:ControllerOutput", f"{tag}.out"
    yield f"{at}/G:ElectricalCurrent/P:ActualValue", f"{tag}.i"
    yield f"{at}/P:ControlMode", f"{tag}.mode.state"


def _drive(at: str, speed: str, drive: str) -> Iterator[tuple[str, str]]:
    yield f"{at}/P:Speed/P:ActualValue", f"{speed}.speed.pv"
    yield f"{at}/P:Speed/P:SetValue", f"{speed}.speed.sp"
    yield f"{at}/P:Torque/P:ActualValue", f"{drive}.torque.pv"
    yield f"{at}/P:Torque/P:SetValue", f"{drive}.torque.sp"
    yield f"{at}/P:Energy/P:ActualPower", f"{drive}.power.pv"
    yield f"{at}/P:Energy/P:ActualSpecificEnergy", f"{drive}.specific_energy.pv"
    yield f"{at}/P:Energy/P:PowerConsumption", f"{drive}.energy.total"


def _points(*folders: str) -> Iterator[tuple[str, str]]:
    for folder in folders:
        yield f"{folder}/P:*/P:ActualValue", ""
        yield f"{folder}/P:*/P:SetValue", ""


def _energy(at: str, tag: str) -> Iterator[tuple[str, str]]:
    yield f"{at}/P:ActualPower", f"{tag}.power.pv"
    yield f"{at}/P:ActualSpecificEnergy", f"{tag}.specific_energy.pv"
    yield f"{at}/P:PowerConsumption", f"{tag}.energy.total"


_AUX: Final = "G:AdditionalMeasuringDevices"

# M: the machine's own part; G: the general types of extrusion; P: those of plastics and rubber machinery.
_TABLE: Final[Mapping[MachineName, tuple[tuple[str, str], ...]]] = {
    "ExtrusionLine": (
        *_energy("G:ElectricalEnergy", "line"),
        *_energy("M:ProductionParameters/M:ElectricalEnergy", "line"),
        ("M:ProductionParameters/M:Throughput", "line.throughput.pv"),
        ("M:ProductionParameters/M:LineSpeed", "line.speed.pv"),
        ("M:ProductionParameters/M:ProductWeight", "line.product_weight.pv"),
        ("M:ProductionParameters/M:GoodProduct", "line.good_product.state"),
        *_points(_AUX),
    ),
    "Extruder": (
        *_zones("extruder.zone.#"),
        *_drive("M:MainDrive", "extruder.screw", "extruder.drive"),
        ("M:Throughput/P:ActualValue", "extruder.throughput.pv"),
        ("M:Throughput/P:SetValue", "extruder.throughput.sp"),
        ("M:SpecificOutput", "extruder.specific_output.pv"),
        *_energy("G:ElectricalEnergy", "extruder.supply"),
        ("M:Feeders/M:Feeder_%/M:Throughput/P:ActualValue", "doser.rate.pv"),
        ("M:Feeders/M:Feeder_%/M:Throughput/P:SetValue", "doser.rate.sp"),
        ("M:Feeders/M:Feeder_%/M:Hopper/M:Weight", "doser.weight.pv"),
        ("M:Feeders/M:Feeder_%/M:Hopper/M:MaterialLevel", "doser.level.pv"),
        ("M:Feeders/M:Feeder_%/M:Hopper/M:MaterialTemperature/P:ActualValue", "doser.material.temp.pv"),
        ("M:Feeders/M:Feeder_%/P:Speed/P:ActualValue", "doser.screw.speed.pv"),
        ("M:Feeders/M:Feeder_%/P:Speed/P:SetValue", "doser.screw.speed.sp"),
        ("M:Feeders/M:Feeder_%/P:Torque/P:ActualValue", "doser.screw.torque.pv"),
        ("M:Feeders/M:Feeder_%/P:Energy/P:ActualPower", "doser.power.pv"),
        ("M:Feeders/M:Feeder_%/M:Mode", "doser.mode.state"),
        *_points("M:MeltPressureZones", "M:MeltTemperatureZones", "M:VacuumZones", _AUX),
    ),
    "Filter": (
        *_zones("filter.plate.#"),
        ("M:TemperatureZones/G:TemperatureZone_#/P:IsPresent", "filter.plate.#.enabled.state"),
        *_drive("M:Drive", "filter.wiper", "filter.wiper"),
        ("M:HydraulicPressure/P:ActualValue", "filter.hydraulics.pressure.pv"),
        ("M:HydraulicPressure/P:SetValue", "filter.hydraulics.pressure.sp"),
        ("M:Area", "filter.screen.area.state"),
        ("M:FiltrationFineness", "filter.screen.fineness.state"),
        ("M:WasteOutput/P:ActualValue", "filter.waste.rate.pv"),
        ("M:SpecificWasteOutput/P:ActualValue", "filter.waste.specific.pv"),
        ("M:BackflushPressure", "filter.backflush.pressure.pv"),
        ("M:FilterPackage_#/M:BackflushCounter", "filter.package.#.backflush.total"),
        *_energy("G:ElectricalEnergy", "filter.supply"),
        *_points("M:MeltPressureZones", "M:MeltTemperatureZones", "M:AdditionalMeasuringDevices", _AUX),
    ),
    "MeltPump": (
        *_zones("pump.zone.#"),
        *_drive("M:Drive", "pump", "pump"),
        ("M:FeedRate", "pump.flow.calc"),
        *_energy("G:ElectricalEnergy", "pump.supply"),
        *_points("M:MeltPressures", _AUX),
    ),
    "Pelletizer": (
        *_zones("die.zone.#"),
        *_drive("M:Drive", "pelletizer.knife", "pelletizer.knife"),
        ("M:CutGap", "pelletizer.knife.gap.pv"),
        ("M:KnifePackage_%/M:ActiveTime", "pelletizer.knife.hours.total"),
        ("M:KnifePackage_%/M:Amount", "pelletizer.knife.count.state"),
        ("M:DiePlate_%/M:ActiveTime", "die.plate.hours.total"),
        ("M:PelletizerClosed", "pelletizer.closed.state"),
        ("M:WaterFlowActive", "pelletizer.water.state"),
        *_energy("G:ElectricalEnergy", "pelletizer.supply"),
        *_points("M:PressureZones", _AUX),
    ),
}  # fmt: skip


def _row(machine: MachineName, path: str, tag: str) -> Row:
    uris = {"M": MACHINES[machine].uri, "G": _GENERAL, "P": _PLASTICS}
    steps = (step.split(":", 1) for step in path.split("/"))
    return Row(machine, tuple(Step(uris[letter], name) for letter, name in steps), tag)


ROWS: Final[tuple[Row, ...]] = tuple(_row(m, path, tag) for m, rows in _TABLE.items() for path, tag in rows)

POINTS: Final[Mapping[tuple[MachineName, str], tuple[str, ...]]] = {
    ("Extruder", "MeltPressureZones"): ("extruder.head.pressure.pv", "filter.inlet.pressure.pv"),
    ("Extruder", "MeltTemperatureZones"): ("extruder.melt.temp.pv", "filter.inlet.melt_temp.pv"),
    ("Extruder", "VacuumZones"): ("extruder.vent.*.pressure.pv",),
    ("Filter", "MeltPressureZones"): ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv"),
    ("Filter", "MeltTemperatureZones"): ("filter.inlet.melt_temp.pv", "filter.outlet.melt_temp.pv"),
    ("MeltPump", "MeltPressures"): (
        "pump.inlet.pressure.pv", "pump.inlet.pressure.sp", "pump.outlet.pressure.pv",
    ),
    ("Pelletizer", "PressureZones"): (
        "die.pressure.pv", "pelletizer.knife.pressure.pv", "pelletizer.knife.pressure.sp",
        "water.pressure.pv",
    ),
}  # fmt: skip
"""Machine and folder of points → what its points can be; common practice, no source. In a folder that is not
here they can be anything."""
