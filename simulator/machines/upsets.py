"""How the line differs from a sound one: what faults write, and what the machines read.

All levels are neutral by default; a level of 1 is as bad as the fault gets. A machine turns a level into
physics; it never asks which fault wrote it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum


class ProbeState(Enum):
    """What is wrong with a zone's thermocouple."""

    SOUND = "sound"
    BREAK_UP = "wire broken, the input goes to the top of its range"
    BREAK_DOWN = "shorted at the terminal box, reads about the hall"
    REVERSED = "wires swapped, falls when it gets warmer"
    DETACHED = "lost contact, reads low and late"
    FROZEN = "holds its last value"


@dataclass(slots=True)
class ZoneUpset:
    """What is wrong with one heated zone.

    Attributes:
        power: what is left of its heater, 0–1.
        welded: share of its full power that flows whatever the controller asks, 0–1.
        probe: what is wrong with its thermocouple.
        probe_level: how far a detached thermocouple has slipped, 0–1.
        loss_factor: how much more heat it loses to the hall (insulation off, a draught).
        taken_out: the operator has taken it out of use.
    """

    power: float = 1.0
    welded: float = 0.0
    probe: ProbeState = ProbeState.SOUND
    probe_level: float = 0.0
    loss_factor: float = 1.0
    taken_out: bool = False


@dataclass(slots=True)
class SensorUpset:
    """What is wrong with one sensor, by the path of its tag.

    Attributes:
        offset, gain: shown = gain · real + offset, in the tag's unit.
        frozen: shows its last value for ever.
        dead: gives no usable value; its samples are bad.
        lag_s: further first-order lag.
        missing_share: share of its samples that never come, 0–1.
    """

    offset: float = 0.0
    gain: float = 1.0
    frozen: bool = False
    dead: bool = False
    lag_s: float = 0.0
    missing_share: float = 0.0


@dataclass(slots=True)
class SourceUpset:
    """What is wrong with one source of samples (a machine's controller).

    Attributes:
        clock_s: how far its clock is ahead.
        held: its samples wait, and come late with their own times.
        lost: its samples never come.
    """

    clock_s: float = 0.0
    held: bool = False
    lost: bool = False


@dataclass(slots=True)
class Upsets:
    """How the line differs from a sound one.

    Attributes:
        zones: by the front part of the zone's tags, such as ``filter.plate.3``.
        sensors: by the path of the tag.
        sources: by the name of the source.
        mains_share: mains voltage, share of nominal.

        dirt_factor: how much more dirt comes with the feed.
        viscosity_factor: how much stiffer the melt is.
        moisture_percent: moisture of the feed beyond the material's own, points.
        bulk_density_factor: of the feed.
        residue_share: what is left of a previous material in the melt, 0–1.
        residue_viscosity_factor: how much stiffer that one is.

        feed_bridge: hopper bridged, throat melted shut, 0–1 (1: 45 % of the feed is missing, unsteadily).
        feed_surge: solids bed breaks up, 0–1 (1: ±9 % of the flow, every 24 s).
        volumetric: the doser runs without its scale.
        vacuum_leak: 0–1 (1: some 300 mbar at the vent).
        vent_flow: melt climbs into the vent, 0–1.
        screw_friction: 0–1 (1: 60 points of torque more).
        melt_line_restriction: cold plug or valve before the filter, 0–1 (1: 110 bar more at the head).

        rest_share: share of the cake that a cleaning presses into the holes for good; None: as designed.
        blade_wear: 0–1 (1: a cleaning takes 55 % of the cake where a sharp blade takes 94 %, and leaves three
            times the rest).
        wiper_stall: the wiper stands against its torque limit.
        wiper_slip: 0–1 (1: turns idle, takes next to nothing).
        park_miss_deg: how far from park the wiper comes to rest.
        park_sensor_dead: the park sensor shows nothing.
        trigger_inhibited: no trigger starts a cleaning.
        discharge_block: 0–1 (1: nothing comes out).
        discharge_leak: 0–1 (1: melt leaves between the cleanings, about 3 % of the flow).
        screen_tear: 0–1 (1: a hole whose resistance is that of 1/0.9 clean screens beside what is left).

        holes_frozen: share of the die holes that are frozen, 0–1.
        die_drool: 0–1.
        knife_wear: 0–1 beyond ordinary wear (1: 22 points of torque more, tails).
        knife_pressure_loss: 0–1 (1: nothing presses the knives).
        knife_speed_error: share by which the knives turn faster than set.
        chamber_open: the cutting chamber's switch says open.

        cooler_fouling: 0–1 (1: 35 % of the exchanger is left).
        cooler_valve_stuck: 0–1 where the valve sticks; None: it moves.
        strainer_block: 0–1 (1: 45 % of the flow is missing, the pressure before it rises).
        water_pump_loss: 0–1 (1: 60 % of the flow is missing, the pressure falls).

        dryer_load: 0–1 (1: half as much load current again, wet pellets).
        dryer_jam: 0–1 (1: no pellets arrive, the rotor jams).

        soak_bypassed: the start permissives of soak and temperature are overridden.
        trip_bypassed: the head-pressure trip does nothing.
    """

    zones: dict[str, ZoneUpset] = field(default_factory=dict)
    sensors: dict[str, SensorUpset] = field(default_factory=dict)
    sources: dict[str, SourceUpset] = field(default_factory=dict)
    mains_share: float = 1.0

    dirt_factor: float = 1.0
    viscosity_factor: float = 1.0
    moisture_percent: float = 0.0
    bulk_density_factor: float = 1.0
    residue_share: float = 0.0
    residue_viscosity_factor: float = 1.0

    feed_bridge: float = 0.0
    feed_surge: float = 0.0
    volumetric: bool = False
    vacuum_leak: float = 0.0
    vent_flow: float = 0.0
    screw_friction: float = 0.0
    melt_line_restriction: float = 0.0

    rest_share: float | None = None
    blade_wear: float = 0.0
    wiper_stall: bool = False
    wiper_slip: float = 0.0
    park_miss_deg: float = 0.0
    park_sensor_dead: bool = False
    trigger_inhibited: bool = False
    discharge_block: float = 0.0
    discharge_leak: float = 0.0
    screen_tear: float = 0.0

    holes_frozen: float = 0.0
    die_drool: float = 0.0
    knife_wear: float = 0.0
    knife_pressure_loss: float = 0.0
    knife_speed_error: float = 0.0
    chamber_open: bool = False

    cooler_fouling: float = 0.0
    cooler_valve_stuck: float | None = None
    strainer_block: float = 0.0
    water_pump_loss: float = 0.0

    dryer_load: float = 0.0
    dryer_jam: float = 0.0

    soak_bypassed: bool = False
    trip_bypassed: bool = False

    def zone(self, prefix: str) -> ZoneUpset:
        """What is wrong with that zone, made on first use, for a fault to write."""
        return self.zones.setdefault(prefix, ZoneUpset())

    def sensor(self, path: str) -> SensorUpset:
        """What is wrong with that sensor, made on first use, for a fault to write."""
        return self.sensors.setdefault(path, SensorUpset())

    def source(self, name: str) -> SourceUpset:
        """What is wrong with that source, made on first use, for a fault to write."""
        return self.sources.setdefault(name, SourceUpset())
