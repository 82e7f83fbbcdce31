"""Which node of an OPC 40084 machine carries which of our signals, and what sensors are called where.

Source: browse names of the OPC 40084 v2.00 nodesets (parts 2, 3, 6 and 8); which sensor a machine puts into
which folder: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

MachineName = Literal["ExtrusionLine", "Extruder", "Filter", "MeltPump", "Pelletizer"]
Language = Literal["en", "de", "es"]
LANGUAGES: tuple[Language, ...] = ("en", "de", "es")

_ZONE_LEAVES = {
    "temp.pv": ("ActualValue",),
    "temp.sp": ("SetValue",),
    "out": ("ControllerOutput",),
    "i": ("ElectricalCurrent", "ActualValue"),
    "enabled.state": ("IsPresent",),
    "mode.state": ("ControlMode",),
}
_MANDATORY = {("ActualValue",), ("IsPresent",), ("ControlMode",)}


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a signal stands below its machine.

    Attributes:
        path: of the tag.
        machine: whose node it is.
        folder: browse names down to the object that holds the value; empty for the machine itself.
        leaf: browse names from there to the variable.
        texts: the object's name for people, by language; empty where it has none.
        drawn: whether the object is a sensor, whose browse name ``<Name>_<Nr>`` is the maker's choice.
        optional: whether a machine may go without it.
        private: whether it is the maker's own, outside the standard.
        bare: whether the standard gives the variable no unit.
    """

    path: str
    machine: MachineName
    folder: tuple[str, ...]
    leaf: tuple[str, ...]
    texts: Mapping[Language, str]
    drawn: bool = False
    optional: bool = False
    private: bool = False
    bare: bool = False


# Tag, machine, folder, variable, English, German and Spanish name.
_SENSORS: tuple[tuple[str, MachineName, str, str, str, str, str], ...] = (
    ("extruder.head.pressure.pv", "Extruder", "MeltPressureZones", "ActualValue",
     "Melt pressure at screw tip", "Massedruck Schneckenspitze", "Presión de masa punta del husillo"),
    ("extruder.melt.temp.pv", "Extruder", "MeltTemperatureZones", "ActualValue",
     "Melt temperature at screw tip", "Massetemperatur Schneckenspitze", "Temperatura de masa en la punta"),
    ("extruder.throat.temp.pv", "Extruder", "AdditionalMeasuringDevices", "ActualValue",
     "Feed throat temperature", "Temperatur Einzugszone", "Temperatura de la garganta"),
    ("extruder.drive.current.pv", "Extruder", "AdditionalMeasuringDevices", "ActualValue",
     "Main drive current", "Strom Hauptantrieb", "Corriente del motor principal"),
    ("extruder.vent.1.pressure.pv", "Extruder", "VacuumZones", "ActualValue",
     "Vacuum at the vent", "Vakuum Entgasung", "Vacío de desgasificación"),
    ("pump.inlet.pressure.pv", "MeltPump", "MeltPressures", "ActualValue",
     "Melt pressure before pump", "Massedruck vor Pumpe", "Presión de masa antes de la bomba"),
    ("pump.inlet.pressure.sp", "MeltPump", "MeltPressures", "SetValue",
     "Melt pressure before pump", "Massedruck vor Pumpe", "Presión de masa antes de la bomba"),
    ("pump.outlet.pressure.pv", "MeltPump", "MeltPressures", "ActualValue",
     "Melt pressure after pump", "Massedruck nach Pumpe", "Presión de masa después de la bomba"),
    ("filter.inlet.pressure.pv", "Filter", "MeltPressureZones", "ActualValue",
     "Melt pressure before screen", "Massedruck vor Sieb", "Presión de masa antes del filtro"),
    ("filter.outlet.pressure.pv", "Filter", "MeltPressureZones", "ActualValue",
     "Melt pressure after screen", "Massedruck nach Sieb", "Presión de masa después del filtro"),
    ("filter.inlet.melt_temp.pv", "Filter", "MeltTemperatureZones", "ActualValue",
     "Melt temperature before screen", "Massetemperatur vor Sieb", "Temperatura de masa antes del filtro"),
    ("filter.outlet.melt_temp.pv", "Filter", "MeltTemperatureZones", "ActualValue",
     "Melt temperature after screen", "Massetemperatur nach Sieb", "Temperatura de masa después del filtro"),
    ("filter.discharge.screw.speed.pv", "Filter", "AdditionalMeasuringDevices", "ActualValue",
     "Discharge screw speed", "Drehzahl Austragsschnecke", "Velocidad del husillo de descarga"),
    ("filter.discharge.screw.torque.pv", "Filter", "AdditionalMeasuringDevices", "ActualValue",
     "Discharge screw torque", "Drehmoment Austragsschnecke", "Par del husillo de descarga"),
    ("filter.discharge.weight.total", "Filter", "AdditionalMeasuringDevices", "ActualValue",
     "Discharge scale", "Waage Austrag", "Báscula de descarga"),
    ("die.pressure.pv", "Pelletizer", "PressureZones", "ActualValue",
     "Melt pressure before die plate", "Massedruck vor Lochplatte", "Presión de masa antes de la placa"),
    ("pelletizer.knife.pressure.pv", "Pelletizer", "PressureZones", "ActualValue",
     "Knife contact pressure", "Anpressdruck Messer", "Presión de apriete de cuchillas"),
    ("pelletizer.knife.pressure.sp", "Pelletizer", "PressureZones", "SetValue",
     "Knife contact pressure", "Anpressdruck Messer", "Presión de apriete de cuchillas"),
    ("water.supply.temp.pv", "Pelletizer", "AdditionalMeasuringDevices", "ActualValue",
     "Process water supply", "Prozesswasser Vorlauf", "Agua de proceso, ida"),
    ("water.supply.temp.sp", "Pelletizer", "AdditionalMeasuringDevices", "SetValue",
     "Process water supply", "Prozesswasser Vorlauf", "Agua de proceso, ida"),
    ("water.return.temp.pv", "Pelletizer", "AdditionalMeasuringDevices", "ActualValue",
     "Process water return", "Prozesswasser Rücklauf", "Agua de proceso, retorno"),
    ("water.flow.pv", "Pelletizer", "AdditionalMeasuringDevices", "ActualValue",
     "Process water flow", "Durchfluss Prozesswasser", "Caudal de agua de proceso"),
    ("water.pressure.pv", "Pelletizer", "AdditionalMeasuringDevices", "ActualValue",
     "Process water pressure", "Druck Prozesswasser", "Presión de agua de proceso"),
    ("dryer.current.pv", "Pelletizer", "AdditionalMeasuringDevices", "ActualValue",
     "Dryer current", "Strom Trockner", "Corriente de la secadora"),
    ("product.scale.total", "ExtrusionLine", "AdditionalMeasuringDevices", "ActualValue",
     "Product scale", "Produktwaage", "Báscula de producto"),
    ("room.temp.pv", "ExtrusionLine", "AdditionalMeasuringDevices", "ActualValue",
     "Hall temperature", "Hallentemperatur", "Temperatura de la nave"),
)  # fmt: skip

# Tag, machine, folder, variable; what has one place in the standard.
_FIXED: tuple[tuple[str, MachineName, str, str], ...] = (
    ("doser.rate.pv", "Extruder", "Feeders/Feeder_1/Throughput", "ActualValue"),
    ("doser.rate.sp", "Extruder", "Feeders/Feeder_1/Throughput", "SetValue"),
    ("doser.weight.pv", "Extruder", "Feeders/Feeder_1/Hopper", "Weight"),
    ("extruder.screw.speed.pv", "Extruder", "MainDrive/Speed", "ActualValue"),
    ("extruder.screw.speed.sp", "Extruder", "MainDrive/Speed", "SetValue"),
    ("extruder.drive.torque.pv", "Extruder", "MainDrive/Torque", "ActualValue"),
    ("extruder.drive.power.pv", "Extruder", "MainDrive/Energy", "ActualPower"),
    ("extruder.drive.energy.total", "Extruder", "MainDrive/Energy", "PowerConsumption"),
    ("doser.level.pv", "Extruder", "Feeders/Feeder_1/Hopper", "MaterialLevel"),
    ("doser.mode.state", "Extruder", "Feeders/Feeder_1", "Mode"),
    ("doser.screw.speed.pv", "Extruder", "Feeders/Feeder_1/Speed", "ActualValue"),
    ("doser.screw.torque.pv", "Extruder", "Feeders/Feeder_1/Torque", "ActualValue"),
    ("pump.speed.pv", "MeltPump", "Drive/Speed", "ActualValue"),
    ("pump.speed.sp", "MeltPump", "Drive/Speed", "SetValue"),
    ("pump.torque.pv", "MeltPump", "Drive/Torque", "ActualValue"),
    ("pump.power.pv", "MeltPump", "Drive/Energy", "ActualPower"),
    ("pump.flow.calc", "MeltPump", "", "FeedRate"),
    ("filter.hydraulics.pressure.pv", "Filter", "HydraulicPressure", "ActualValue"),
    ("filter.wiper.speed.pv", "Filter", "Drive/Speed", "ActualValue"),
    ("filter.wiper.torque.pv", "Filter", "Drive/Torque", "ActualValue"),
    ("pelletizer.knife.speed.pv", "Pelletizer", "Drive/Speed", "ActualValue"),
    ("pelletizer.knife.speed.sp", "Pelletizer", "Drive/Speed", "SetValue"),
    ("pelletizer.knife.torque.pv", "Pelletizer", "Drive/Torque", "ActualValue"),
    ("pelletizer.knife.gap.pv", "Pelletizer", "", "CutGap"),
    ("pelletizer.water.state", "Pelletizer", "", "WaterFlowActive"),
    ("pelletizer.closed.state", "Pelletizer", "", "PelletizerClosed"),
    ("line.power.pv", "ExtrusionLine", "ElectricalEnergy", "ActualPower"),
    ("line.energy.total", "ExtrusionLine", "ElectricalEnergy", "PowerConsumption"),
)

_OWNERS: Mapping[str, MachineName] = {
    "doser": "Extruder",
    "extruder": "Extruder",
    "filter": "Filter",
    "pump": "MeltPump",
    "die": "Pelletizer",
    "pelletizer": "Pelletizer",
    "water": "Pelletizer",
    "dryer": "Pelletizer",
}


# Variables that the standard declares without EngineeringUnits.
_BARE = ("MaterialLevel",)


def spots(paths: Iterable[str]) -> list[Spot]:
    """The spot of each published tag; what the standard has no node for is the maker's own."""
    listed = list(paths)
    known = {spot.path: spot for spot in (*_fixed(), *_sensors(), *_zones(listed))}
    return [known[path] if path in known else _private(path) for path in listed]


def _fixed() -> Iterator[Spot]:
    for path, machine, folder, leaf in _FIXED:
        names = tuple(folder.split("/")) if folder else ()
        optional = leaf not in ("ActualValue",) and path != "line.power.pv"
        yield Spot(path, machine, names, (leaf,), {}, optional=optional, bare=leaf in _BARE)


def _sensors() -> Iterator[Spot]:
    for path, machine, folder, leaf, *texts in _SENSORS:
        named = dict(zip(LANGUAGES, texts, strict=True))
        optional = leaf == "SetValue" or folder == "AdditionalMeasuringDevices"
        yield Spot(path, machine, (folder,), (leaf,), named, drawn=True, optional=optional)


def _zones(paths: Iterable[str]) -> Iterator[Spot]:
    numbers: dict[MachineName, dict[str, int]] = {}
    for path in paths:
        zone, leaf = _zone_of(path)
        if not zone:
            continue
        machine = _OWNERS[zone.split(".")[0]]
        number = numbers.setdefault(machine, {}).setdefault(zone, len(numbers[machine]) + 1)
        folder = ("TemperatureZones", f"TemperatureZone_{number}")
        yield Spot(path, machine, folder, leaf, _zone_texts(zone), optional=leaf not in _MANDATORY)


def _zone_of(path: str) -> tuple[str, tuple[str, ...]]:
    """A zone's tag parted into zone and variable; empty when it is no zone's."""
    for ending, leaf in _ZONE_LEAVES.items():
        zone = path.removesuffix(f".{ending}")
        if zone != path and (zone == "filter.discharge" or zone.split(".")[1:2] in (["zone"], ["plate"])):
            return zone, leaf
    return "", ()


def _zone_texts(zone: str) -> Mapping[Language, str]:
    number = zone.rsplit(".", maxsplit=1)[-1]
    if zone.startswith("extruder."):
        return {"en": f"Barrel {number}", "de": f"Zylinder {number}", "es": f"Cilindro {number}"}
    if zone.startswith("filter.plate."):
        return {"en": f"Plate {number}", "de": f"Heizplatte {number}", "es": f"Placa {number}"}
    if zone == "filter.discharge":
        return {"en": "Discharge", "de": "Austrag", "es": "Descarga"}
    if zone.startswith("pump."):
        return {"en": f"Melt pump {number}", "de": f"Schmelzepumpe {number}", "es": f"Bomba {number}"}
    return {"en": f"Die {number}", "de": f"Düse {number}", "es": f"Cabezal {number}"}


def _private(path: str) -> Spot:
    first, *rest = path.split(".")
    machine = _OWNERS.get(first, "ExtrusionLine")
    parts = rest if first == machine.lower() else [first, *rest]
    name = "".join(word.capitalize() for part in parts for word in part.split("_"))
    return Spot(path, machine, ("MakersData",), (name,), {}, private=True)
