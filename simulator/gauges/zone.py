"""The signals of a heated zone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.sensors import Signal
from simulator.sensors.kinds import EXACT, HEATER_CURRENT, OUTPUT, THERMOCOUPLE

if TYPE_CHECKING:
    from simulator.machines.zones import Zone


def zone_signals(zone: Zone) -> list[Signal]:
    """Temperature, set-point, output, current, mode; the thermocouple's lag and faults are the zone's own."""
    prefix = zone.name
    return [
        Signal(f"{prefix}.temp.pv", lambda: zone.sensed_cel, THERMOCOUPLE),
        Signal(f"{prefix}.temp.sp", lambda: zone.setpoint_cel, EXACT),
        Signal(f"{prefix}.out", lambda: zone.output_percent, OUTPUT),
        Signal(f"{prefix}.i", lambda: zone.current_a, HEATER_CURRENT),
        Signal(f"{prefix}.mode.state", lambda: float(zone.mode), EXACT),
    ]
