"""What the signals are read from, and those of the line as a whole: power, state, hall, utilities."""

from __future__ import annotations

from math import pi, sin
from typing import TYPE_CHECKING, Protocol

from simulator.sensors import Signal
from simulator.sensors.kinds import (
    AIR_PRESSURE,
    AIR_PROBE,
    COUNTER,
    EXACT,
    POWER,
    SMALL_WATER_FLOW,
    STEEL_PROBE,
    THROUGHPUT,
)

if TYPE_CHECKING:
    from simulator.machines.doser import Doser
    from simulator.machines.extruder import Extruder
    from simulator.machines.filter import MeltFilter
    from simulator.machines.melt_pump import MeltPump
    from simulator.machines.meters import Meters
    from simulator.machines.pelletizing import Pelletizing
    from simulator.machines.pipe import MeltPipe
    from simulator.machines.site import Site
    from simulator.machines.zones import Zone

# Each turn of the screw gives a pulse of pressure.
RIPPLE_BAR = 0.3
TURNING_MIN = 0.5

_READY_K = 5.0
_FLOWS_KG_S = 0.01
_NO_PRODUCTION, _START_UP, _READY, _PRODUCTION, _DRY_RUN = range(1, 6)


class Line(Protocol):
    """The plant as its sensors see it.

    Attributes:
        inlet_bar, outlet_bar, die_bar, head_bar, difference_bar: melt pressures, gauge.
        before: melt pipe before the filter.
        pelletizing: die, knives, water, dryer, outlet.
    """

    @property
    def doser(self) -> Doser: ...
    @property
    def extruder(self) -> Extruder: ...
    @property
    def pump(self) -> MeltPump | None: ...
    @property
    def filter(self) -> MeltFilter: ...
    @property
    def before(self) -> MeltPipe: ...
    @property
    def pelletizing(self) -> Pelletizing: ...
    @property
    def meters(self) -> Meters: ...
    @property
    def site(self) -> Site: ...
    @property
    def inlet_bar(self) -> float: ...
    @property
    def outlet_bar(self) -> float: ...
    @property
    def die_bar(self) -> float: ...
    @property
    def head_bar(self) -> float: ...
    @property
    def difference_bar(self) -> float: ...


def ripple_bar(plant: Line) -> float:
    """What the turning screw adds to every melt pressure at this moment."""
    extruder = plant.extruder
    if extruder.screw_min < TURNING_MIN:
        return 0.0
    return RIPPLE_BAR * sin(2.0 * pi * extruder.screw_turn)


def line_signals(plant: Line) -> list[Signal]:
    """Line, hall and utilities."""
    meters, site = plant.meters, plant.site
    return [
        Signal("line.power.pv", lambda: meters.line_kw, POWER),
        Signal("line.energy.total", lambda: meters.shown_kwh, COUNTER),
        Signal("line.throughput.pv", lambda: 3600.0 * plant.extruder.flow_kg_s, THROUGHPUT),
        Signal("line.state", lambda: float(_state(plant)), EXACT),
        Signal("util.air.pressure.pv", lambda: meters.air_bar, AIR_PRESSURE),
        Signal("util.cooling_water.temp.pv", lambda: meters.cooling_water_cel, STEEL_PROBE),
        Signal("util.cooling_water.flow.pv", lambda: meters.cooling_water_m3_h, SMALL_WATER_FLOW),
        Signal("util.vacuum_water.temp.pv", lambda: meters.vacuum_water_cel, STEEL_PROBE),
        Signal("room.temp.pv", lambda: site.ambient_cel, AIR_PROBE),
    ]


def heated(plant: Line) -> list[Zone]:
    """Every heated zone, in the direction of the melt."""
    pump = [] if plant.pump is None else plant.pump.zones
    return [
        *plant.extruder.zones,
        *pump,
        *plant.filter.plates,
        plant.filter.block,
        *plant.pelletizing.die.zones,
    ]


def _state(plant: Line) -> int:
    """What the line's own control says of itself.

    Source: names and numbers are those of OPC 40084-1, ProductionStatusEnumeration.
    """
    if plant.extruder.flow_kg_s > _FLOWS_KG_S:
        return _PRODUCTION
    if plant.extruder.screw_min > TURNING_MIN:
        return _DRY_RUN
    worked = [zone for zone in heated(plant) if zone.enabled and not zone.taken_out]
    if not worked:
        return _NO_PRODUCTION
    cold = any(zone.sensed_cel < zone.setpoint_cel - _READY_K for zone in worked)
    return _START_UP if cold else _READY
