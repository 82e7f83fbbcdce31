"""The canonical tags of a recycling line: path pattern → unit, kind and meaning.

Paths that are not listed are allowed in a line's file, but must then say their unit.
Numbering starts at 1 at the feed end, or at the top going clockwise.
Ranges are what a sensor on a machine of 0.4–1 t/h can show: a value outside is uncertain, not wrong.
common practice, no source: all ranges.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from historian.tags import Tag, TagKind, pattern_of

_OFF_ON = {0: "off", 1: "on"}
WIPER_STATES = {0: "parked", 1: "wiping", 2: "jogging", 3: "fault"}
WIPE_TRIGGERS = {0: "none", 1: "pressure difference", 2: "inlet pressure", 3: "clock", 4: "by hand"}
DOSER_MODES = {
    0: "conveying only",
    1: "other",
    2: "gravimetric",
    3: "volumetric",
    4: "liquid",
    5: "batch",
}
"""OPC 40084-3, FeedingModeEnumeration."""
CONTROL_MODES = {
    0: "other",
    1: "off",
    2: "automatic",
    3: "tuning",
    4: "standby",
    5: "open loop",
    6: "measuring only",
}
DIVERTER_STATES = {0: "good", 1: "reject", 2: "purge"}
# OPC 40084-1, StartEnumeration.
DRIVE_STATES = {
    0: "not ready",
    1: "blocked by the client",
    2: "ready",
    3: "start requested",
    4: "started",
    5: "stop requested",
}
# OPC 40084-1, ProductionStatusEnumeration.
LINE_STATES = {0: "other", 1: "no production", 2: "start-up", 3: "ready", 4: "production", 5: "dry run"}


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a canonical path stands for.

    Attributes:
        unit: canonical UCUM code.
        kind: how the numbers are to be read.
        text: for a person; ``*`` stands for the place number.
        low, high: what the sensor can show, in the unit.
        reference: ``gauge`` or ``absolute`` for pressures.
        codes: number → word.
    """

    unit: str
    kind: TagKind
    text: str
    low: float
    high: float
    reference: str = ""
    codes: Mapping[int, str] = field(default_factory=dict)


def _analog(unit: str, text: str, low: float, high: float, reference: str = "") -> Meaning:
    return Meaning(unit, TagKind.ANALOG, text, low, high, reference)


def _step(unit: str, text: str, low: float, high: float) -> Meaning:
    return Meaning(unit, TagKind.STEP, text, low, high)


def _code(text: str, codes: Mapping[int, str]) -> Meaning:
    return Meaning("1", TagKind.CODE, text, min(codes), max(codes), codes=codes)


def _switch(text: str, codes: Mapping[int, str] | None = None) -> Meaning:
    return Meaning("1", TagKind.BOOLEAN, text, 0, 1, codes=codes or _OFF_ON)


def _zone(prefix: str, what: str) -> dict[str, Meaning]:
    """The tags of one heated zone."""
    return {
        f"{prefix}.temp.pv": _analog("Cel", f"{what}, temperature", -20, 450),
        f"{prefix}.temp.sp": _step("Cel", f"{what}, set-point", 0, 400),
        f"{prefix}.out": _analog("%", f"{what}, controller output", -100, 100),
        f"{prefix}.i": _analog("A", f"{what}, heater current while on", 0, 100),
        f"{prefix}.mode.state": _code(f"{what}, controller mode", CONTROL_MODES),
    }


CATALOGUE: Mapping[str, Meaning] = {
    "doser.rate.pv": _analog("kg/h", "feed", 0, 3000),
    "doser.rate.sp": _step("kg/h", "feed, set-point", 0, 3000),
    "doser.weight.pv": _analog("kg", "hopper, net weight", -5, 2000),
    "doser.level.pv": _analog("%", "hopper level", 0, 100),
    "doser.screw.speed.pv": _analog("/min", "dosing screw, speed", 0, 300),
    "doser.screw.torque.pv": _analog("%", "dosing screw, torque", 0, 200),
    "doser.refill.state": _switch("hopper refill", {0: "closed", 1: "open"}),
    "doser.mode.state": _code("doser mode", DOSER_MODES),
    **_zone("extruder.zone.*", "barrel zone *"),
    "extruder.throat.temp.pv": _analog("Cel", "feed throat, temperature", -20, 200),
    "extruder.screw.speed.pv": _analog("/min", "screw speed", 0, 600),
    "extruder.screw.speed.sp": _step("/min", "screw speed, set-point", 0, 600),
    "extruder.drive.torque.pv": _analog("%", "screw drive, torque", 0, 200),
    "extruder.drive.current.pv": _analog("A", "screw drive, current", 0, 2000),
    "extruder.drive.power.pv": _analog("kW", "screw drive, power", 0, 2000),
    "extruder.drive.energy.total": _step("kW.h", "screw drive, energy counter", 0, 1e9),
    "extruder.melt.temp.pv": _analog("Cel", "melt at the screw tip", -20, 450),
    "extruder.head.pressure.pv": _analog("bar", "melt at the screw tip", -10, 500, "gauge"),
    "extruder.vent.*.pressure.pv": _analog("mbar", "vent *, vacuum", 0, 1100, "absolute"),
    "extruder.vent.*.temp.pv": _analog("Cel", "vent *, dome temperature", -20, 300),
    "extruder.vent.pump.current.pv": _analog("A", "vacuum pump, current", 0, 100),
    "extruder.state": _code("screw drive", DRIVE_STATES),
    "extruder.enable.state": _switch("screw drive"),
    "pump.speed.pv": _analog("/min", "melt pump, speed", 0, 200),
    "pump.speed.sp": _step("/min", "melt pump, speed set-point", 0, 200),
    "pump.torque.pv": _analog("%", "melt pump, torque", 0, 200),
    "pump.power.pv": _analog("kW", "melt pump, power", 0, 500),
    "pump.inlet.pressure.pv": _analog("bar", "melt before the pump", -10, 500, "gauge"),
    "pump.inlet.pressure.sp": _step("bar", "melt before the pump, set-point", 0, 500),
    "pump.outlet.pressure.pv": _analog("bar", "melt after the pump", -10, 500, "gauge"),
    "pump.flow.calc": _analog("kg/h", "melt pump, flow from its speed", 0, 3000),
    **_zone("pump.zone.*", "melt pump zone *"),
    "filter.inlet.pressure.pv": _analog("bar", "melt pressure before the screen", -10, 500, "gauge"),
    "filter.outlet.pressure.pv": _analog("bar", "melt pressure after the screen", -10, 500, "gauge"),
    "filter.dp.calc": _analog("bar", "pressure difference over the screen", -20, 500, "gauge"),
    "filter.inlet.melt_temp.pv": _analog("Cel", "melt before the screen", -20, 450),
    "filter.outlet.melt_temp.pv": _analog("Cel", "melt after the screen", -20, 450),
    **_zone("filter.plate.*", "heater plate *"),
    "filter.plate.*.enabled.state": _switch("heater plate * in use", {0: "taken out", 1: "in use"}),
    "filter.wiper.state": _code("wiper", WIPER_STATES),
    "filter.wiper.angle.pv": _analog("deg", "wiper angle", -5, 365),
    "filter.wiper.park.state": _switch("wiper park sensor", {0: "not at park", 1: "at park"}),
    "filter.wiper.speed.pv": _analog("/min", "wiper speed", 0, 60),
    "filter.wiper.torque.pv": _analog("%", "wiper drive, torque", 0, 200),
    "filter.wipe.count.total": _step("1", "cleanings since the screen change", 0, 1e9),
    "filter.wipe.revs.total": _step("1", "turns of the wiper since the screen change", 0, 1e9),
    "filter.wipe.trigger.state": _code("what started the last cleaning", WIPE_TRIGGERS),
    "filter.wipe.dp.sp": _step("bar", "pressure difference that starts a cleaning", 0, 500),
    "filter.wipe.inlet.sp": _step("bar", "inlet pressure that starts a cleaning", 0, 500),
    "filter.wipe.time.sp": _step("s", "longest time between two cleanings", 0, 86_400),
    "filter.wiper.contact.pressure.pv": _analog("bar", "wiper, contact pressure", -5, 300, "gauge"),
    "filter.hydraulics.pressure.pv": _analog("bar", "hydraulics, oil pressure", -5, 400, "gauge"),
    "filter.hydraulics.temp.pv": _analog("Cel", "hydraulics, oil", -20, 150),
    "filter.discharge.valve.state": _switch("discharge outlet", {0: "closed", 1: "open"}),
    "filter.discharge.screw.speed.pv": _analog("/min", "discharge screw, speed", 0, 100),
    "filter.discharge.screw.torque.pv": _analog("%", "discharge screw, torque", 0, 200),
    **_zone("filter.discharge", "discharge block"),
    "filter.discharge.weight.total": _step("kg", "discharged mass", -5, 1e6),
    "filter.screen.fineness.state": _step("um", "screen in use, fineness", 0, 5000),
    "filter.screen.area.state": _step("cm2", "screen in use, active area", 0, 100_000),
    "die.pressure.pv": _analog("bar", "melt before the die plate", -10, 500, "gauge"),
    **_zone("die.zone.*", "die ring zone *"),
    "die.plate.holes.state": _step("1", "die plate, holes", 0, 10_000),
    "die.plate.hole.state": _step("mm", "die plate, diameter of a hole", 0, 50),
    "pelletizer.knife.speed.pv": _analog("/min", "knife speed", 0, 6000),
    "pelletizer.knife.speed.sp": _step("/min", "knife speed, set-point", 0, 6000),
    "pelletizer.knife.torque.pv": _analog("%", "knife drive, torque", 0, 200),
    "pelletizer.knife.pressure.pv": _analog("bar", "knife contact pressure", -1, 20, "gauge"),
    "pelletizer.knife.pressure.sp": _step("bar", "knife contact pressure, set-point", 0, 20),
    "pelletizer.knife.gap.pv": _analog("mm", "knives, travel to the die plate", -1, 50),
    "pelletizer.knife.hours.total": _step("h", "knives, time in contact", 0, 1e6),
    "pelletizer.knife.count.state": _step("1", "knives on the head", 0, 100),
    "pelletizer.water.state": _switch("process water to the cutting chamber"),
    "pelletizer.closed.state": _switch("cutting chamber", {0: "open", 1: "closed"}),
    "water.supply.temp.pv": _analog("Cel", "process water to the cutting chamber", -5, 120),
    "water.supply.temp.sp": _step("Cel", "process water, set-point", 0, 100),
    "water.return.temp.pv": _analog("Cel", "process water after cutting", -5, 120),
    "water.flow.pv": _analog("m3/h", "process water, flow", 0, 200),
    "water.flow.sp": _step("m3/h", "process water, flow set-point", 0, 200),
    "water.pressure.pv": _analog("bar", "process water before the ring", -1, 20, "gauge"),
    "water.tank.level.pv": _analog("%", "process water, tank level", 0, 100),
    "water.cooler.valve.out": _analog("%", "water cooler, valve", 0, 100),
    "water.fines.level.pv": _analog("mm", "water over the fines screen", 0, 1000),
    "dryer.current.pv": _analog("A", "dryer rotor, current", 0, 200),
    "dryer.speed.pv": _analog("/min", "dryer rotor, speed", 0, 4000),
    "dryer.exhaust.temp.pv": _analog("Cel", "dryer exhaust", -20, 150),
    "dryer.vibration.pv": _analog("mm/s", "dryer rotor, vibration", 0, 100),
    "pellet.moisture.pv": _analog("%", "pellets, surface moisture after the dryer", 0, 100),
    "diverter.state": _code("diverter", DIVERTER_STATES),
    "product.scale.total": _step("kg", "product scale", -5, 1e7),
    "line.power.pv": _analog("kW", "line, active power", 0, 10_000),
    "line.energy.total": _step("kW.h", "line, energy counter", 0, 1e9),
    "line.throughput.pv": _analog("kg/h", "line, throughput", 0, 3000),
    "line.state": _code("line", LINE_STATES),
    "util.air.pressure.pv": _analog("bar", "compressed air", -1, 20, "gauge"),
    "util.cooling_water.temp.pv": _analog("Cel", "cooling water", -5, 100),
    "util.cooling_water.flow.pv": _analog("m3/h", "cooling water, flow", 0, 500),
    "util.vacuum_water.temp.pv": _analog("Cel", "water of the vacuum pump", -5, 100),
    "room.temp.pv": _analog("Cel", "hall", -40, 70),
}

# How a source stands, as the recorder sees it.
SOURCE_STATES = {0: "never answered", 1: "connected", 2: "lost", 3: "refused"}

_RIGHT_WRONG = {0: "nothing known against it", 1: "wrong"}

_OF_A_SOURCE: Mapping[str, Meaning] = {
    "state": _code("source *", SOURCE_STATES),
    "connected.time.calc": _analog("s", "source *, connected for", 0, 1e10),
    "rate.calc": _analog("/s", "source *, samples a second over the last minute", 0, 1e7),
    "lag.calc": _analog("s", "source *, newest sample: from its time stamp to arrival", -1e10, 1e10),
    "lag.worst.calc": _analog(
        "s", "source *, the same for the latest sample of the last minute", -1e10, 1e10
    ),
    "clock.offset.calc": _analog("s", "source *, its clock ahead of this computer's", -1e10, 1e10),
    "clock.uncertainty.calc": _analog("s", "source *, how far off that may be", 0, 1e10),
    "clock.shift.calc": _step("ms", "source *, added to its time stamps from here on", -1e15, 1e15),
    "clock.wrong.state": _switch("source *, its clock", _RIGHT_WRONG),
    "gaps.total": _step("1", "source *, times it was lost since the start", 0, 1e9),
    "gaps.time.total": _step("s", "source *, time it was lost since the start", 0, 1e10),
    "received.total": _step("1", "source *, samples that arrived", 0, 1e15),
    "overflows.total": _step("1", "source *, times its queue had run over", 0, 1e15),
    "missed.total": _step("1", "source *, messages lost on the way", 0, 1e15),
    "rejected.total": _step("1", "source *, values that could not be read", 0, 1e15),
    "unstamped.total": _step("1", "source *, samples without a source time", 0, 1e15),
    "reconnects.total": _step("1", "source *, connections after the first", 0, 1e9),
    "backfilled.total": _step("1", "source *, samples that came later into a gap", 0, 1e15),
    "waiting.calc": _analog("1", "source *, what waits to be read or acknowledged", 0, 1e9),
}

OF_THE_RECORDER: Mapping[str, Meaning] = {
    **{f"edge.source.*.{path}": meaning for path, meaning in _OF_A_SOURCE.items()},
    "edge.store.backlog.calc": _analog("1", "samples that are not on disk yet", 0, 1e9),
    "edge.store.commit.age.calc": _analog("s", "since samples were last put on disk", 0, 1e10),
    "edge.store.disk.free.calc": _analog("%", "free part of the store's disk", 0, 100),
    "edge.clock.wrong.state": _switch("this computer's clock", _RIGHT_WRONG),
}
"""How the recorder and its sources do; ``*`` is the source's name. No machine delivers these."""


def meaning_of(path: str) -> Meaning | None:
    """What a canonical path stands for; None for a path of the user's own.

    Example:
        >>> meaning_of("filter.plate.3.temp.pv").unit
        'Cel'
    """
    if path.startswith("edge."):
        return OF_THE_RECORDER.get(_recorder_pattern(path))
    return CATALOGUE.get(pattern_of(path))


def _recorder_pattern(path: str) -> str:
    """The path with the source's name replaced by ``*``."""
    parts = path.split(".")
    return ".".join(["edge", "source", "*", *parts[3:]]) if parts[1] == "source" else path


def canonical_tag(path: str, *, source: str = "", simulated: bool = False, unit: str = "1") -> Tag:
    """A tag as the catalogue knows it; ``unit`` counts for paths of the user's own only."""
    meaning = meaning_of(path)
    if meaning is None:
        return Tag(path, unit, text=path, source=source, simulated=simulated)
    place = path.split(".")[2] if "*" in meaning.text else ""
    return Tag(
        path,
        meaning.unit,
        meaning.kind,
        meaning.text.replace("*", place),
        meaning.reference,
        meaning.codes,
        source,
        simulated,
    )
