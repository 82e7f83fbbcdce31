"""What figures, tags and phases are called in a report. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from process import phase_names
from trials.report.speech import Speech, marked

PHASES: Final[Mapping[str, str]] = {
    phase_names.UNKNOWN: marked("unknown"),
    phase_names.OFF: marked("off"),
    phase_names.HEAT_UP: marked("heat-up"),
    phase_names.SOAK: marked("soak"),
    phase_names.START: marked("start"),
    phase_names.RAMP: marked("ramp"),
    phase_names.STEADY: marked("steady"),
    phase_names.RUNNING: marked("running"),
    phase_names.STANDBY: marked("standby"),
    phase_names.SHUTDOWN: marked("shutdown"),
    phase_names.SCREEN_CHANGE: marked("screen change"),
    phase_names.MATERIAL_CHANGE: marked("material change"),
}

_FIGURES: Final = (
    marked("throughput, product scale"),
    marked("throughput, doser"),
    marked("throughput, heat of the pellets"),
    marked("throughput, agreed"),
    marked("specific throughput of the screen"),
    marked("pressure index"),
    marked("pressure difference at the reference"),
    marked("resistance of the screen"),
    marked("pressure before the screen, mean"),
    marked("pressure before the screen, P5"),
    marked("pressure before the screen, P95"),
    marked("pressure before the screen, highest"),
    marked("pressure after the screen, mean"),
    marked("pressure after the screen, P5"),
    marked("pressure after the screen, P95"),
    marked("pressure after the screen, highest"),
    marked("pressure difference over the screen, mean"),
    marked("pressure difference over the screen, P5"),
    marked("pressure difference over the screen, P95"),
    marked("pressure difference over the screen, highest"),
    marked("cleaning period"),
    marked("scatter of the cleaning period"),
    marked("cleaning amplitude"),
    marked("recovery"),
    marked("lasting rise at a cleaning"),
    marked("discharged at a cleaning"),
    marked("discharge loss, gross"),
    marked("discharge loss, melt"),
    marked("filtration load"),
    marked("blocking power"),
    marked("specific energy, line"),
    marked("specific energy, drive"),
    marked("specific energy, heaters"),
    marked("output at each screw speed"),
    marked("energy that the melt took up"),
    marked("discharge rate"),
    marked("mass not found again"),
    marked("opening of the dirt balance"),
    marked("dirt separated"),
    marked("pellet length, calculated"),
    marked("pellet mass, calculated"),
    marked("pellet moisture"),
    marked("alarms"),
    marked("most alarms in ten minutes"),
    marked("time with an alarm"),
)
_MELTS: Final = (
    marked("temperature, melt at the screw tip"),
    marked("temperature, melt before the screen"),
    marked("temperature, melt after the screen"),
)
_ZONES: Final = {
    "barrel zone": marked("barrel zone {n}"),
    "filter plate": marked("filter plate {n}"),
    "die zone": marked("die zone {n}"),
}
_GROUPS: Final = {
    "barrel zone": marked("spread between barrel zones"),
    "filter plate": marked("spread between filter plates"),
    "die zone": marked("spread between die zones"),
}
_ZONE: Final = re.compile(
    r"(temperature|highest deviation), (barrel zone|filter plate|die zone) (\d+)(, spread)?"
)

_PATHS: Final[Mapping[str, str]] = {
    "doser.rate.pv": marked("feed"),
    "doser.rate.sp": marked("feed, set-point"),
    "extruder.screw.speed.pv": marked("screw speed"),
    "extruder.screw.speed.sp": marked("screw speed, set-point"),
    "extruder.drive.torque.pv": marked("screw torque"),
    "extruder.drive.power.pv": marked("power of the screw drive"),
    "extruder.drive.energy.total": marked("energy counter of the screw drive"),
    "extruder.melt.temp.pv": marked("melt temperature at the screw tip"),
    "extruder.head.pressure.pv": marked("melt pressure at the screw tip"),
    "extruder.vent.*.pressure.pv": marked("vacuum, vent {n}"),
    "extruder.zone.*.temp.pv": marked("temperature, barrel zone {n}"),
    "extruder.zone.*.temp.sp": marked("set-point, barrel zone {n}"),
    "extruder.zone.*.out": marked("output, barrel zone {n}"),
    "filter.plate.*.temp.pv": marked("temperature, filter plate {n}"),
    "filter.plate.*.temp.sp": marked("set-point, filter plate {n}"),
    "filter.plate.*.out": marked("output, filter plate {n}"),
    "die.zone.*.temp.pv": marked("temperature, die zone {n}"),
    "die.zone.*.temp.sp": marked("set-point, die zone {n}"),
    "die.zone.*.out": marked("output, die zone {n}"),
    "filter.inlet.pressure.pv": marked("pressure before the screen"),
    "filter.outlet.pressure.pv": marked("pressure after the screen"),
    "filter.inlet.melt_temp.pv": marked("melt temperature before the screen"),
    "filter.outlet.melt_temp.pv": marked("melt temperature after the screen"),
    "filter.dp.calc": marked("pressure difference over the screen"),
    "filter.wiper.state": marked("state of the wiper"),
    "filter.wipe.dp.sp": marked("pressure difference that starts a cleaning"),
    "filter.wipe.inlet.sp": marked("inlet pressure that starts a cleaning"),
    "filter.wipe.time.sp": marked("longest time between two cleanings"),
    "filter.discharge.weight.total": marked("discharge scale"),
    "filter.discharge.temp.sp": marked("discharge outlet, set-point"),
    "die.pressure.pv": marked("die pressure"),
    "pump.speed.sp": marked("melt pump, speed set-point"),
    "pump.inlet.pressure.sp": marked("melt pump, inlet pressure set-point"),
    "pelletizer.knife.speed.pv": marked("knife speed"),
    "pelletizer.knife.speed.sp": marked("knife speed, set-point"),
    "pelletizer.knife.pressure.sp": marked("knife contact pressure, set-point"),
    "water.supply.temp.pv": marked("process water, supply temperature"),
    "water.supply.temp.sp": marked("process water, set-point"),
    "water.return.temp.pv": marked("process water, return temperature"),
    "water.flow.pv": marked("process water, flow"),
    "water.flow.sp": marked("process water, flow set-point"),
    "pellet.moisture.pv": marked("moisture probe after the dryer"),
    "product.scale.total": marked("product scale"),
    "line.power.pv": marked("power of the line"),
    "line.energy.total": marked("energy counter of the line"),
}
_NUMBER: Final = re.compile(r"\.(\d+)\.")


def name_of_figure(name: str, say: Speech) -> str:
    """What a figure is called; the names are those of ``trials.figures``."""
    if name in _FIGURES or name in _MELTS:
        return say(name)
    match = _ZONE.fullmatch(name)
    if match is not None:
        zone = say(_ZONES[match[2]], n=match[3])
        if match[1] != "temperature":
            return say("highest deviation, {what}", what=zone)
        what = say("temperature, {what}", what=zone)
        return say("{what}, spread", what=what) if match[4] else what
    head, _, rest = name.partition(", ")
    if name.endswith(", spread"):
        return say("{what}, spread", what=name_of_figure(name.removesuffix(", spread"), say))
    if head == "steadiness":
        return say("steadiness, {what}", what=name_of_path(rest, say))
    if head == "residence time":
        return say("residence time, {what}", what=rest)
    for group, text in _GROUPS.items():
        if name == f"spread between {group}s":
            return say(text)
    return name


def name_of_zone(zone: str, say: Speech) -> str:
    """What a zone is called, from "filter plate 3"."""
    group, _, number = zone.rpartition(" ")
    return say(_ZONES[group], n=number) if group in _ZONES else zone


def name_of_path(path: str, say: Speech) -> str:
    """What a tag is called; its path where it has no name here."""
    if path in _PATHS:
        return say(_PATHS[path])
    match = _NUMBER.search(path)
    if match is None:
        return path
    text = _PATHS.get(f"{path[: match.start()]}.*.{path[match.end() :]}")
    return path if text is None else say(text, n=match[1])


def name_of_phase(name: str, say: Speech) -> str:
    """What a phase is called."""
    return say(PHASES.get(name, name))


def capital(text: str) -> str:
    """With a capital at its start."""
    return text[:1].upper() + text[1:]
