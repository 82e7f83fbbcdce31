"""A scenario: what the simulated line is like and fed with, what its people do, what goes wrong when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Literal

from simulator.faults import FaultOrder

Action = Literal[
    "heating on",
    "heating off",
    "screw on",
    "screw off",
    "water on",
    "water off",
    "knives on",
    "knives off",
    "wipe",
    "jog",
    "reset",
    "override on",
    "override off",
    "screen change",
    "blade change",
    "knife change",
    "clear outlet",
    "take out",
    "put back",
    "probe change",
    "refill",
    "diverter good",
    "diverter reject",
    "diverter purge",
    "lot change",
    "set",
]
Blocking = Literal["complete", "standard", "intermediate", "cake"]
WiperTrigger = Literal["dp", "inlet", "period", "continuous"]
Place = Literal["pellets", "discharge", "feed"]


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
        barrel_zones, vents, plates, pump_zones, die_zones: how many of each; ``pump_zones`` count only
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
    vents: int = 1
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
            "extruder.vent": self.vents,
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
class Step:
    """One act of the operator.

    Attributes:
        at_s: when, seconds from the start of the scenario.
        do: which.
        tag, to: with ``set``: path of the set-point and its new value in the tag's unit; with
            ``probe change``: path of the sensor, and by how much the new one reads higher than the old.
        over_s: with ``set``: how long the way there takes; 0: at once.
        place: with ``take out`` and ``put back``: number of the heater plate.
        key: with ``override on`` and ``override off``: which permissive.
        screen: with ``screen change``.
        lot: with ``lot change``.
    """

    at_s: float
    do: Action
    tag: str = ""
    to: float = 0.0
    over_s: float = 0.0
    place: int = 0
    key: str = ""
    screen: Screen | None = None
    lot: Lot | None = None


@dataclass(frozen=True, slots=True)
class Label:
    """A stretch of the scenario with a name: ground truth, a stretch that must stay quiet, or a mere phase.

    Attributes:
        id, text: name and meaning.
        from_s, until_s: its start and end, seconds from the start of the scenario.
        must_stay_quiet: nothing is wrong in it, however it looks.
        fault: name of what is wrong; empty where nothing is.
        tags: where it shows.
        expected_severity: 1–4 that a finding of it should have; None where nothing is wrong.
        must_detect_within_s: how soon after ``from_s`` it should be found.
        must_not_alarm: faults that must not be named for it.
    """

    id: str
    text: str
    from_s: float
    until_s: float
    must_stay_quiet: bool = False
    fault: str = ""
    tags: tuple[str, ...] = ()
    expected_severity: int | None = None
    must_detect_within_s: float | None = None
    must_not_alarm: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sample:
    """A bag that somebody fills and the laboratory measures.

    Attributes:
        bag: its number.
        at_s: when it is filled.
        place: where.
        measures: names of what the laboratory finds out, keys of ``simulator.laboratory.MEASURES``.
        results_s: when the results arrive.
    """

    bag: str
    at_s: float
    place: Place
    measures: tuple[str, ...]
    results_s: float


@dataclass(frozen=True, slots=True)
class Note:
    """What a person writes down or ticks.

    Attributes:
        at_s: when.
        role: whose words, such as ``operator``; no names of persons.
        text: the words.
        mark: the button that was pressed; empty: none.
    """

    at_s: float
    role: str
    text: str
    mark: str = ""


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


@dataclass(frozen=True, slots=True)
class Scenario:
    """What is played.

    Attributes:
        name, title: short name; for a person.
        seed: of every random stream.
        duration_s: of the batch form; a served line goes on after it.
        customer, trial: for whom and under which number; invented.
        opens_s: where somebody who only wants to see the story starts to watch.
        material, line: what the line is fed with at the start, and built like.
        scatter: whether sensors, material and machine scatter.
        settings: set-points at the start, by path of their tag.
        steps: what the operator does, in order of time.
        faults: what goes wrong.
        labels: named stretches.
        samples: what the laboratory gets.
        notes: what people write down, in order of time.
        pre_analysis: what was known of the material before.
        sources: controllers whose clocks are off; one that is not named here has a good one.
        variation: how this line differs from the one that the file describes, by the names in
            ``simulator.variation.FACTORS``; a name that is not there: not at all.
    """

    name: str
    title: str
    seed: int
    duration_s: float
    customer: str = ""
    trial: str = ""
    opens_s: float = 0.0
    material: MaterialSheet = field(default_factory=MaterialSheet)
    line: LineSheet = field(default_factory=LineSheet)
    scatter: bool = True
    settings: Mapping[str, float] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()
    faults: tuple[FaultOrder, ...] = ()
    labels: tuple[Label, ...] = ()
    samples: tuple[Sample, ...] = ()
    notes: tuple[Note, ...] = ()
    pre_analysis: tuple[Analysis, ...] = ()
    sources: tuple[SourceSheet, ...] = ()
    variation: Mapping[str, float] = field(default_factory=dict)

    @property
    def polymer(self) -> str:
        """A key of the table of polymers."""
        return self.material.polymer

    @property
    def dirt_percent(self) -> float:
        """Dirt that can be filtered, of the feed at the start."""
        return self.material.dirt_percent

    @property
    def plates(self) -> int:
        """Heater plates of the filter."""
        return self.line.plates

    def material_at(self, second: float) -> MaterialSheet:
        """What the line is fed with at that second, after the lot changes until then."""
        sheet = self.material
        for step in self.steps:
            if step.lot is not None and step.at_s <= second:
                sheet = step.lot.applied_to(sheet)
        return sheet

    def screen_at(self, second: float) -> Screen:
        """The screen that is in the filter at that second."""
        line = self.line
        now = Screen(line.screen_serial, line.fineness_um, line.screen_area_cm2)
        for step in self.steps:
            if step.screen is not None and step.at_s <= second:
                new = step.screen
                now = Screen(
                    new.serial,
                    now.fineness_um if new.fineness_um is None else new.fineness_um,
                    now.area_cm2 if new.area_cm2 is None else new.area_cm2,
                )
        return now

    def without_faults(self) -> Scenario:
        """The same day without anything going wrong; the operator does the same."""
        return replace(self, faults=())

    def without_scatter(self) -> Scenario:
        """The same day with perfect sensors, an even material and machines all alike."""
        return replace(self, scatter=False)
