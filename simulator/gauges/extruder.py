"""The signals of extruder, vent and melt pump."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.gauges.line import TURNING_MIN, Line, ripple_bar
from simulator.gauges.zone import zone_signals
from simulator.sensors import Signal
from simulator.sensors.kinds import (
    CALCULATED,
    COUNTER,
    DRIVE_CURRENT,
    DRIVE_TORQUE,
    EXACT,
    FINE_SPEED,
    INLET_PRESSURE,
    MELT_PRESSURE,
    MELT_PROBE,
    MOTOR_CURRENT,
    POWER,
    SPEED,
    STEEL_PROBE,
    TORQUE,
    VACUUM,
)

if TYPE_CHECKING:
    from simulator.machines.extruder import Extruder
    from simulator.machines.melt_pump import MeltPump

_READY, _START_REQUESTED, _STARTED, _STOP_REQUESTED = 2, 3, 4, 5


def extruder_signals(plant: Line) -> list[Signal]:
    """Barrel zones, screw drive, melt at the tip, vent."""
    x = plant.extruder
    vent = x.vent
    return [
        *[signal for zone in x.zones for signal in zone_signals(zone)],
        Signal("extruder.throat.temp.pv", lambda: x.throat_cel, STEEL_PROBE),
        Signal("extruder.screw.speed.pv", lambda: x.screw_min, SPEED),
        Signal("extruder.screw.speed.sp", lambda: x.screw_setpoint_min, EXACT),
        Signal("extruder.drive.torque.pv", lambda: x.torque_percent, DRIVE_TORQUE),
        Signal("extruder.drive.current.pv", lambda: x.current_a, DRIVE_CURRENT),
        Signal("extruder.drive.power.pv", lambda: x.power_kw, POWER),
        Signal("extruder.drive.energy.total", lambda: int(x.energy_kwh * 10.0) / 10.0, COUNTER),
        Signal("extruder.melt.temp.pv", lambda: x.melt_cel, MELT_PROBE),
        Signal("extruder.head.pressure.pv", lambda: plant.head_bar + ripple_bar(plant), INLET_PRESSURE),
        Signal("extruder.vent.1.pressure.pv", lambda: vent.pressure_mbar, VACUUM),
        Signal("extruder.vent.1.temp.pv", lambda: vent.dome_cel, STEEL_PROBE),
        Signal("extruder.vent.pump.current.pv", lambda: vent.pump_current_a, MOTOR_CURRENT),
        Signal("extruder.enable.state", lambda: float(x.enabled), EXACT),
        Signal("extruder.state", lambda: float(_drive_state(x)), EXACT),
    ]


def pump_signals(plant: Line) -> list[Signal]:
    """Melt pump, where there is one."""
    pump = plant.pump
    return [] if pump is None else _pump_signals(plant, pump)


def _pump_signals(plant: Line, pump: MeltPump) -> list[Signal]:
    return [
        *[signal for zone in pump.zones for signal in zone_signals(zone)],
        Signal("pump.speed.pv", lambda: pump.speed_min, FINE_SPEED),
        Signal("pump.speed.sp", lambda: pump.speed_setpoint_min, EXACT),
        Signal("pump.torque.pv", lambda: pump.torque_percent, TORQUE),
        Signal("pump.power.pv", lambda: pump.power_kw, POWER),
        Signal("pump.inlet.pressure.pv", lambda: pump.inlet_bar + ripple_bar(plant), INLET_PRESSURE),
        Signal("pump.inlet.pressure.sp", lambda: pump.inlet_setpoint_bar, EXACT),
        Signal("pump.outlet.pressure.pv", lambda: plant.inlet_bar, MELT_PRESSURE),
        Signal("pump.flow.calc", lambda: 3600.0 * pump.flow_kg_s, CALCULATED),
    ]


def _drive_state(extruder: Extruder) -> int:
    """What the screw drive says of itself.

    Source: names and numbers are those of OPC 40084-1, StartEnumeration.
    """
    turns = extruder.screw_min > TURNING_MIN
    if extruder.enabled:
        return _STARTED if turns else _START_REQUESTED
    return _STOP_REQUESTED if turns else _READY
