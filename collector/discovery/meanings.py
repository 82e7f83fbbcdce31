"""Which concepts speak for which canonical tag.

common practice, no source: all of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from historian.catalogue import CATALOGUE


@dataclass(frozen=True, slots=True)
class Reading:
    """One canonical tag that something may be.

    Attributes:
        tag: its path; ``*`` stands for the place number.
        needs: each must be said; of those in one set, one.
        fits: everything that may be said of it, what it needs included.
    """

    tag: str
    needs: tuple[frozenset[str], ...]
    fits: frozenset[str]


# What must be said (a/b: one of them); what may be said besides. A set-point is read from the same words.
_TABLE: Final[Mapping[str, tuple[str, str]]] = {
    "doser.rate.pv": ("flow doser", "drive product"),
    "doser.weight.pv": ("weight doser/hopper", "doser hopper"),
    "doser.level.pv": ("level doser/hopper", "doser hopper"),
    "doser.screw.speed.pv": ("speed doser", "screw drive"),
    "doser.screw.torque.pv": ("torque doser", "screw drive"),
    "extruder.zone.*.temp.pv": ("temperature zone extruder", "heater screw"),
    "extruder.zone.*.out": ("output zone extruder", "heater temperature power"),
    "extruder.zone.*.i": ("current zone extruder", "heater"),
    "extruder.throat.temp.pv": ("temperature throat", "extruder zone water cooling doser"),
    "extruder.screw.speed.pv": ("speed extruder/main/screw", "extruder main screw drive"),
    "extruder.drive.torque.pv": ("torque extruder/main", "extruder main screw drive"),
    "extruder.drive.current.pv": ("current extruder/main", "extruder main screw drive"),
    "extruder.drive.power.pv": ("power extruder/main", "extruder main screw drive"),
    "extruder.drive.energy.total": ("energy extruder/main", "extruder main screw drive power"),
    "extruder.melt.temp.pv": ("temperature melt extruder/tip/screw/head", "extruder tip screw head after"),
    "extruder.head.pressure.pv": ("pressure extruder/tip/head/screw", "extruder tip head screw melt after"),
    "extruder.vent.*.pressure.pv": ("vacuum/vent vacuum/pressure", "extruder vent zone"),
    "extruder.vent.*.temp.pv": ("temperature vent", "extruder vacuum zone"),
    "extruder.vent.pump.current.pv": ("current vacuum/vent pump", "extruder vent vacuum drive"),
    "pump.speed.pv": ("speed pump", "melt drive"),
    "pump.torque.pv": ("torque pump", "melt drive"),
    "pump.power.pv": ("power pump", "melt drive"),
    "pump.inlet.pressure.pv": ("pressure pump before", "melt"),
    "pump.outlet.pressure.pv": ("pressure pump after", "melt output"),
    "pump.zone.*.temp.pv": ("temperature zone pump", "melt heater"),
    "filter.inlet.pressure.pv": ("pressure filter before", "melt"),
    "filter.outlet.pressure.pv": ("pressure filter after", "melt output"),
    "filter.dp.calc": ("difference filter", "pressure melt"),
    "filter.inlet.melt_temp.pv": ("temperature filter before", "melt"),
    "filter.outlet.melt_temp.pv": ("temperature filter after", "melt output"),
    "filter.plate.*.temp.pv": ("temperature zone/plate filter/heater", "heater filter zone plate"),
    "filter.plate.*.out": ("output zone/plate filter/heater", "heater filter temperature power plate"),
    "filter.plate.*.i": ("current zone/plate filter/heater", "heater filter plate"),
    "filter.wiper.angle.pv": ("angle wiper", "filter"),
    "filter.wiper.speed.pv": ("speed wiper", "filter drive"),
    "filter.wiper.torque.pv": ("torque wiper", "filter drive"),
    "filter.wiper.contact.pressure.pv": ("pressure wiper", "filter contact"),
    "filter.hydraulics.pressure.pv": ("pressure hydraulics", "filter"),
    "filter.hydraulics.temp.pv": ("temperature hydraulics", "filter tank"),
    "filter.discharge.screw.speed.pv": ("speed discharge", "screw filter drive"),
    "filter.discharge.screw.torque.pv": ("torque discharge", "screw filter drive"),
    "filter.discharge.temp.pv": ("temperature discharge", "filter zone heater"),
    "filter.discharge.out": ("output discharge", "filter zone heater temperature power"),
    "filter.discharge.i": ("current discharge", "filter zone heater"),
    "filter.discharge.weight.total": ("weight discharge", "filter"),
    "die.pressure.pv": ("pressure die/plate", "melt before die plate head"),
    "die.zone.*.temp.pv": ("temperature zone die/head", "heater"),
    "die.zone.*.out": ("output zone die/head", "heater temperature power"),
    "die.zone.*.i": ("current zone die/head", "heater"),
    "pelletizer.knife.speed.pv": ("speed knife/pelletizer", "knife pelletizer drive"),
    "pelletizer.knife.torque.pv": ("torque knife/pelletizer", "knife pelletizer drive"),
    "pelletizer.knife.pressure.pv": ("pressure knife", "pelletizer contact air"),
    "pelletizer.knife.gap.pv": ("gap knife/pelletizer", "knife pelletizer"),
    "water.supply.temp.pv": ("temperature water supply", "process pelletizer"),
    "water.return.temp.pv": ("temperature water return", "process pelletizer"),
    "water.flow.pv": ("flow water", "process pelletizer"),
    "water.pressure.pv": ("pressure water", "process pelletizer"),
    "water.tank.level.pv": ("level water tank", "process pelletizer"),
    "dryer.current.pv": ("current dryer", "drive"),
    "dryer.speed.pv": ("speed dryer", "drive"),
    "dryer.exhaust.temp.pv": ("temperature dryer exhaust", "air"),
    "dryer.vibration.pv": ("vibration dryer", "drive speed"),
    "pellet.moisture.pv": ("moisture", "product dryer pelletizer"),
    "product.scale.total": ("weight product", ""),
    "line.power.pv": ("power line", ""),
    "line.energy.total": ("energy line", "power"),
    "line.throughput.pv": ("flow line", "product"),
    "util.air.pressure.pv": ("pressure air", ""),
    "util.cooling_water.temp.pv": ("temperature water cooling", "supply"),
    "util.cooling_water.flow.pv": ("flow water cooling", ""),
    "room.temp.pv": ("temperature room", "air"),
}


def _readings() -> Iterator[Reading]:
    for tag, (needs, may) in _TABLE.items():
        needed = tuple(frozenset(need.split("/")) for need in needs.split())
        fits = frozenset(may.split()).union({"actual"}, *needed)
        yield Reading(tag, needed, fits)
        set_point = f"{tag.removesuffix('.pv')}.sp"
        if tag.endswith(".pv") and set_point in CATALOGUE:
            yield Reading(set_point, (*needed, frozenset({"set"})), fits | {"set"})


READINGS: Final[tuple[Reading, ...]] = tuple(_readings())
