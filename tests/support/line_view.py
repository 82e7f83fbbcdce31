"""A line that stands ready to start, as its controls see it; a test changes what it wants to."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class ZoneStub:
    """A heated zone at its set-point."""

    name: str
    sensed_cel: float = 220.0
    setpoint_cel: float = 220.0
    enabled: bool = True
    taken_out: bool = False


def _zones() -> list[ZoneStub]:
    names = [f"extruder.zone.{n}" for n in (1, 2)] + [f"filter.plate.{n}" for n in range(1, 9)]
    return [ZoneStub(name) for name in (*names, "filter.discharge", "die.zone.1")]


@dataclass
class LineStub:
    """A ``LineView`` that says what it is told to say."""

    zones: list[ZoneStub] = field(default_factory=_zones)
    head_bar: float = 0.0
    torque_percent: float = 0.0
    screw_min: float = 0.0
    melt_flows: bool = False
    purging: bool = False
    wiper_parked: bool = True
    wiper_angle_deg: float = 0.0
    wiper_state: int = 0
    chamber_closed: bool = True
    knives_min: float = 0.0
    water_m3_h: float = 22.0
    water_setpoint_m3_h: float = 22.0
    pump_inlet_bar: float | None = None
    soak_bypassed: bool = False
    trip_bypassed: bool = False

    def zone(self, name: str) -> ZoneStub:
        """The zone of that name."""
        return next(z for z in self.zones if z.name == name)

    def run(self) -> None:
        """What the sensors show of a line in production."""
        self.head_bar, self.torque_percent, self.screw_min = 110.0, 64.0, 95.0
        self.melt_flows, self.knives_min = True, 1607.0
