"""The signals of the doser."""

from __future__ import annotations

from simulator.gauges.line import Line
from simulator.sensors import Signal
from simulator.sensors.kinds import EXACT, FEED_RATE, HOPPER_WEIGHT, LEVEL, SPEED, TORQUE


def feed_signals(plant: Line) -> list[Signal]:
    """Rate as the loss in weight shows it, hopper, dosing screw, mode."""
    doser = plant.doser
    return [
        Signal("doser.rate.pv", lambda: doser.shown_kg_h, FEED_RATE),
        Signal("doser.rate.sp", lambda: doser.setpoint_kg_h, EXACT),
        Signal("doser.weight.pv", lambda: doser.weight_kg, HOPPER_WEIGHT),
        Signal("doser.level.pv", lambda: doser.level_percent, LEVEL),
        Signal("doser.screw.speed.pv", lambda: doser.screw_min, SPEED),
        Signal("doser.screw.torque.pv", lambda: doser.screw_torque_percent, TORQUE),
        Signal("doser.refill.state", lambda: float(doser.refilling), EXACT),
        Signal("doser.mode.state", lambda: float(doser.mode), EXACT),
    ]
