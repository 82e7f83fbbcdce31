"""The signals from the die to the bag: die, knives, process water, dryer, diverter, scale."""

from __future__ import annotations

from simulator.gauges.line import Line, ripple_bar
from simulator.gauges.zone import zone_signals
from simulator.sensors import Signal
from simulator.sensors.kinds import (
    COUNTER,
    EXACT,
    EXHAUST_PROBE,
    FINES_LEVEL,
    GAP,
    KNIFE_PRESSURE,
    KNIFE_SPEED,
    KNIFE_TORQUE,
    LEVEL,
    MELT_PRESSURE,
    MOISTURE,
    MOTOR_CURRENT,
    RETURN_WATER,
    SUPPLY_WATER,
    VALVE,
    VIBRATION,
    WATER_FLOW,
    WATER_PRESSURE,
)


def pelletizer_signals(plant: Line) -> list[Signal]:
    """Everything that the pelletizer's controller publishes."""
    return [*_die(plant), *_knives(plant), *_water(plant), *_dryer(plant), *_outlet(plant)]


def _die(plant: Line) -> list[Signal]:
    die = plant.pelletizing.die
    return [
        *[signal for zone in die.zones for signal in zone_signals(zone)],
        Signal("die.pressure.pv", lambda: plant.die_bar + ripple_bar(plant), MELT_PRESSURE),
        Signal("die.plate.holes.state", lambda: float(die.holes), EXACT),
        Signal("die.plate.hole.state", lambda: die.hole_mm, EXACT),
    ]


def _knives(plant: Line) -> list[Signal]:
    k, water = plant.pelletizing.knives, plant.pelletizing.water
    return [
        Signal("pelletizer.knife.speed.pv", lambda: k.speed_min, KNIFE_SPEED),
        Signal("pelletizer.knife.speed.sp", lambda: k.setpoint_min, EXACT),
        Signal(
            "pelletizer.knife.torque.pv",
            lambda: k.torque_percent,
            KNIFE_TORQUE,
            unrest=lambda: k.torque_noise_percent,
        ),
        Signal("pelletizer.knife.pressure.pv", lambda: k.pressure_bar, KNIFE_PRESSURE),
        Signal("pelletizer.knife.pressure.sp", lambda: k.setpoint_bar, EXACT),
        Signal("pelletizer.knife.gap.pv", lambda: k.gap_mm, GAP),
        Signal("pelletizer.knife.hours.total", lambda: int(k.hours * 10.0) / 10.0, COUNTER),
        Signal("pelletizer.knife.count.state", lambda: float(k.design.knives), EXACT),
        Signal("pelletizer.closed.state", lambda: float(k.closed), EXACT),
        Signal("pelletizer.water.state", lambda: float(water.on), EXACT),
    ]


def _water(plant: Line) -> list[Signal]:
    w = plant.pelletizing.water
    return [
        Signal("water.supply.temp.pv", lambda: w.supply_cel, SUPPLY_WATER),
        Signal("water.supply.temp.sp", lambda: w.setpoint_cel, EXACT),
        Signal("water.return.temp.pv", lambda: w.return_cel, RETURN_WATER),
        Signal("water.flow.pv", lambda: w.flow_m3_h, WATER_FLOW),
        Signal("water.flow.sp", lambda: w.flow_setpoint_m3_h, EXACT),
        Signal("water.pressure.pv", lambda: w.pressure_bar, WATER_PRESSURE),
        Signal("water.tank.level.pv", lambda: w.level_percent, LEVEL),
        Signal("water.cooler.valve.out", lambda: 100.0 * w.valve, VALVE),
        Signal("water.fines.level.pv", lambda: w.fines_mm, FINES_LEVEL),
    ]


def _dryer(plant: Line) -> list[Signal]:
    d = plant.pelletizing.dryer
    return [
        Signal("dryer.current.pv", lambda: d.current_a, MOTOR_CURRENT),
        Signal("dryer.speed.pv", lambda: d.speed_min, KNIFE_SPEED),
        Signal("dryer.exhaust.temp.pv", lambda: d.exhaust_cel, EXHAUST_PROBE),
        Signal("dryer.vibration.pv", lambda: d.vibration_mm_s, VIBRATION),
        Signal("pellet.moisture.pv", lambda: d.moisture_percent, MOISTURE),
    ]


def _outlet(plant: Line) -> list[Signal]:
    outlet = plant.pelletizing.outlet
    return [
        Signal("diverter.state", lambda: float(outlet.diverter), EXACT),
        Signal("product.scale.total", lambda: outlet.product_scale_kg, COUNTER),
    ]
