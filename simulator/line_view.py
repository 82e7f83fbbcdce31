"""What the simulated line's controls see of it: what its sensors say, with whatever is wrong with them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from simulator.machines.outlet import PURGE
from simulator.machines.zones import Zone

if TYPE_CHECKING:
    from simulator.plant import Plant


class SensedLine:
    """The line as its sensors show it to its controls."""

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        # The die is the pelletizer's: its water cools it before the first melt comes.
        self.zones: Sequence[Zone] = [zone for zone in plant.zones if zone not in plant.die.zones]

    @property
    def head_bar(self) -> float:
        """Melt pressure at the screw tip."""
        return self._plant.sensed("extruder.head.pressure.pv", self._plant.head_bar)

    @property
    def torque_percent(self) -> float:
        """Of the screw's drive."""
        return self._plant.extruder.torque_percent

    @property
    def screw_min(self) -> float:
        """Speed of the screw."""
        return self._plant.extruder.screw_min

    @property
    def melt_flows(self) -> bool:
        """Whether melt comes out of the screw."""
        return self._plant.extruder.melt_on_s >= 0.0

    @property
    def purging(self) -> bool:
        """Whether the melt goes to the floor before the knives."""
        return self._plant.pelletizing.outlet.diverter == PURGE

    @property
    def wiper_parked(self) -> bool:
        """What the park sensor shows."""
        return self._plant.filter.at_park

    @property
    def wiper_angle_deg(self) -> float:
        """Where the wiper stands."""
        return self._plant.filter.angle_deg

    @property
    def wiper_state(self) -> int:
        """What the wiper does."""
        return self._plant.filter.state

    @property
    def chamber_closed(self) -> bool:
        """What the switch of the cutting chamber shows."""
        return self._plant.pelletizing.knives.closed

    @property
    def knives_min(self) -> float:
        """Speed of the knives."""
        return self._plant.pelletizing.knives.speed_min

    @property
    def water_m3_h(self) -> float:
        """Flow of the process water."""
        return self._plant.sensed("water.flow.pv", self._plant.pelletizing.water.flow_m3_h)

    @property
    def water_setpoint_m3_h(self) -> float:
        """What it should be."""
        return self._plant.pelletizing.water.flow_setpoint_m3_h

    @property
    def pump_inlet_bar(self) -> float | None:
        """Melt pressure before the melt pump."""
        pump = self._plant.pump
        return None if pump is None else self._plant.sensed("pump.inlet.pressure.pv", pump.inlet_bar)

    @property
    def soak_bypassed(self) -> bool:
        """Whether somebody has bridged the permissives of soak and temperature."""
        return self._plant.upsets.soak_bypassed

    @property
    def trip_bypassed(self) -> bool:
        """Whether somebody has bridged the trip of the head pressure."""
        return self._plant.upsets.trip_bypassed
