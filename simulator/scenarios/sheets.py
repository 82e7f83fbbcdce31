"""What a scenario's line is like and fed with: sheets of plain figures, as people write them down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Literal

Blocking = Literal["complete", "standard", "intermediate", "cake"]
WiperTrigger = Literal["dp", "inlet", "period", "continuous"]


@dataclass(frozen=True, slots=True)
class MeltFlow:
    """One melt flow rate, which means nothing without its temperature and load.

    Attributes:
        cel, load_kg: of the test (ISO 1133-1).
        g_10min: the rate.
    """

    cel: float
    load_kg: float
    g_10min: float


@dataclass(frozen=True, slots=True)
class MaterialSheet:
    """What the line is fed with, as it really is.

    Attributes:
        polymer: a key of ``simulator.machines.melt.POLYMERS``.
        form: how it is delivered, for a person.
        lot, bale: names.
        bulk_density_kg_m3, moisture_percent: of the feed.
        dirt_percent: dirt that can be filtered, of the feed.
        ash_percent: of the feed; holds filler that passes the screen too.
        mfr: melt flow rates.
        dsc_peaks_cel: where it melts, strongest first.
        second_polymer_percent: of another polymer.
        viscosity_factor: how much stiffer than the polymer's usual grade.
    """

    polymer: str = "LDPE"
    form: str = ""
    lot: str = ""
    bale: str = ""
    bulk_density_kg_m3: float = 290.0
    moisture_percent: float = 0.3
    dirt_percent: float = 1.4
    ash_percent: float = 1.9
    mfr: tuple[MeltFlow, ...] = ()
    dsc_peaks_cel: tuple[float, ...] = ()
    second_polymer_percent: float = 0.0
    viscosity_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class LineSheet:
    """What the line is built like, and for what it is planned.

    Attributes:
        barrel_zones, plates, pump_zones, die_zones: how many of each; ``pump_zones`` count only
            with a melt pump.
        melt_pump: whether one stands between screw and filter.
        barrel_kw, plate_kw, die_kw: heater power of one zone.
        screen_area_cm2, fineness_um, screen_serial: the screen at the start.
        thickness_mm, open_share: length of its holes, and their share of the area.
        retention: share of the filterable dirt that stays on the screen.
        blocking: how it blocks (Hermia).
        cake_m_kg: resistance of a cake a kilogram of dirt and square metre.
        wiper_trigger: what starts a cleaning.
        wipe_s, wipe_revs, carry_kg: a cleaning's length, turns, and melt that leaves with it.
        die_holes, hole_mm, knives: of the pelletizer.
        land_mm: length of a die hole, entrance loss included.
        soak_s: how long all zones stay at their set-points before the start.
        planned_kg_h, planned_screw_min: the planned point.
    """

    barrel_zones: int = 5
    plates: int = 8
    pump_zones: int = 2
    die_zones: int = 1
    melt_pump: bool = False
    barrel_kw: float = 9.0
    plate_kw: float = 2.4
    die_kw: float = 7.0
    screen_area_cm2: float = 1178.0
    fineness_um: float = 110.0
    screen_serial: str = "S-1"
    open_share: float = 0.10
    thickness_mm: float = 0.26
    retention: float = 0.78
    blocking: Blocking = "cake"
    cake_m_kg: float = 2.2e6
    wiper_trigger: WiperTrigger = "dp"
    wipe_s: float = 22.0
    wipe_revs: float = 2.0
    carry_kg: float = 0.55
    die_holes: int = 120
    hole_mm: float = 2.6
    knives: int = 4
    land_mm: float = 20.5
    soak_s: float = 1800.0
    planned_kg_h: float = 780.0
    planned_screw_min: float = 95.0

    def places(self) -> Mapping[str, int]:
        """How many of each numbered thing there are, by the part of the path before the number."""
        return {
            "extruder.zone": self.barrel_zones,
            "extruder.vent": 1,
            "filter.plate": self.plates,
            "pump.zone": self.pump_zones if self.melt_pump else 0,
            "die.zone": self.die_zones,
        }


@dataclass(frozen=True, slots=True)
class Screen:
    """A screen that is put in.

    Attributes:
        fineness_um, area_cm2: of the new one; None: as the one before.
        serial: its number.
    """

    serial: str
    fineness_um: float | None = None
    area_cm2: float | None = None


@dataclass(frozen=True, slots=True)
class Lot:
    """What changes in the feed with a new lot or bale; None: as before.

    Attributes:
        lot, bale: their names.
        moisture_percent, dirt_percent, bulk_density_kg_m3, ash_percent: of the new feed.
        viscosity_factor: how much stiffer than the polymer's usual grade.
    """

    lot: str | None = None
    bale: str | None = None
    moisture_percent: float | None = None
    dirt_percent: float | None = None
    bulk_density_kg_m3: float | None = None
    ash_percent: float | None = None
    viscosity_factor: float | None = None

    def applied_to(self, sheet: MaterialSheet) -> MaterialSheet:
        """The material after the change."""
        new = {f.name: getattr(self, f.name) for f in fields(self) if getattr(self, f.name) is not None}
        return replace(sheet, **new)


@dataclass(frozen=True, slots=True)
class Analysis:
    """One result of the analysis before the trial.

    Attributes:
        what: in words.
        value, unit: the figure.
        method: how it was measured.
    """

    what: str
    value: float
    unit: str
    method: str = ""


@dataclass(frozen=True, slots=True)
class SourceSheet:
    """One controller that samples come from.

    Attributes:
        name: one of ``simulator.sensors.SOURCES``.
        clock_s: how far its clock is ahead, all the time; behind where it is negative.
    """

    name: str
    clock_s: float = 0.0
