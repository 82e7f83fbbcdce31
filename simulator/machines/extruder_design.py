"""What an extruder is built like, and the two that are known here."""

from __future__ import annotations

from dataclasses import dataclass, field

from simulator.machines.screw_design import ScrewDesign
from simulator.machines.vent import VentDesign
from simulator.machines.zones import BARREL_ZONE, ZoneDesign


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtruderDesign:
    """What the extruder is built like.

    Attributes:
        setpoints_cel: of the barrel zones, feed end first; as many zones as set-points.
        zone: one barrel zone.
        screw, vent: its parts.
        vent_zone: number of the zone whose lump lies under the vent, from 1.
        rated_kw, rated_min: of the drive: power at its rated speed.
        rated_a: motor current at rated torque.
        efficiency: of motor and gear.
        idle_kw: of motor and gear at ``screw.reference_min``, nothing to turn.
        limit_torque_percent: where the drive gives way.
        faster_min_s, slower_min_s: how fast the speed changes.
        throat_kj_k, throat_zone_kw_k, throat_feed_kw_k, throat_water_kw_k: heat capacity of the water-cooled
            throat; from the first zone; from the feed in it; to the cooling water.

    common practice, no source: all.
    """

    setpoints_cel: tuple[float, ...] = (150.0, 185.0, 205.0, 212.0, 215.0)
    zone: ZoneDesign = BARREL_ZONE
    screw: ScrewDesign = field(default_factory=ScrewDesign)
    vent: VentDesign = field(default_factory=VentDesign)
    vent_zone: int = 4
    rated_kw: float = 290.0
    rated_min: float = 110.0
    rated_a: float = 520.0
    efficiency: float = 0.874
    idle_kw: float = 3.0
    limit_torque_percent: float = 150.0
    faster_min_s: float = 3.0
    slower_min_s: float = 6.0
    throat_kj_k: float = 20.0
    throat_zone_kw_k: float = 0.012
    throat_feed_kw_k: float = 0.022
    throat_water_kw_k: float = 0.060


BUMPER_EXTRUDER = ExtruderDesign(
    setpoints_cel=(165.0, 205.0, 222.0, 228.0, 230.0),
    screw=ScrewDesign(
        reference_kg_h=620.0,
        reference_min=140.0,
        lump_kg=4.2,
        feed_litre=9.5,
        full_kg=5.1,
        litre_per_turn=0.157,
        back_up=1.85e-3,
        film_kw=4.0,
    ),
    vent=VentDesign(pump_m3_h=85.0, leak_more_kg_h=17.0),
    rated_kw=166.0,
    rated_min=160.0,
    rated_a=300.0,
)
"""A smaller and faster one, for some 620 kg/h of filled polypropylene. common practice, no source."""
