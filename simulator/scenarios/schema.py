"""What may stand in a scenario's TOML file: every key with its kind and range."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from simulator.controls.permissives import PERMISSIVES
from simulator.faults import FAULTS, FaultOrder, what_is_missing
from simulator.machines.melt import POLYMERS
from simulator.people.laboratory import MEASURES
from simulator.scenarios.scenario import Action, Blocking, Place, WiperTrigger
from simulator.sensors import SOURCES

_PART = re.compile(r"(\d+(?:\.\d+)?)\s*(h|min|s)")
_SECONDS = {"h": 3600.0, "min": 60.0, "s": 1.0}
MARKS = ("zero state confirmed", "vent flow seen", "die drool seen", "bale changed", "soak confirmed")
NoteStep = Literal["note", "mark"]

# Which keys belong to which act; those of "set" and the rest are in no other.
_KEYS_OF: dict[str, tuple[str, ...]] = {
    "set": ("tag", "to", "over"),
    "probe change": ("tag", "to"),
    "take out": ("place",),
    "put back": ("place",),
    "override on": ("key",),
    "override off": ("key",),
    "screen change": ("serial", "fineness_um", "area_cm2"),
    "lot change": (
        "lot",
        "bale",
        "moisture_percent",
        "dirt_percent",
        "bulk_density_kg_m3",
        "ash_percent",
        "viscosity_factor",
    ),
    "note": ("text",),
    "mark": ("key", "text"),
}
_NEEDED: dict[str, tuple[str, ...]] = {
    "set": ("tag", "to"),
    "probe change": ("tag", "to"),
    "take out": ("place",),
    "put back": ("place",),
    "override on": ("key",),
    "override off": ("key",),
    "screen change": ("serial",),
    "note": ("text",),
    "mark": ("key",),
}


def seconds_of(text: object) -> float:
    """A stretch of time as people write it, in seconds.

    Example:
        >>> seconds_of("240 min 90 s"), seconds_of("5 h")
        (14490.0, 18000.0)
    """
    if not isinstance(text, str) or not text.strip() or _PART.sub("", text).strip():
        raise ValueError(f"{text!r} is not a time: write it as '90 s', '240 min' or '1 h 30 min'")
    return sum(float(number) * _SECONDS[unit] for number, unit in _PART.findall(text))


def one_of(value: object, known: Iterable[str], what: str) -> str:
    """The value itself when it is known.

    Raises:
        ValueError: naming the nearest known one, otherwise.
    """
    names = list(known)
    if isinstance(value, str) and value in names:
        return value
    near = get_close_matches(str(value), names, 1)
    hint = f"; did you mean '{near[0]}'?" if near else f"; known: {', '.join(sorted(names))}"
    raise ValueError(f"unknown {what} '{value}'{hint}")


def _known(names: Iterable[str], what: str) -> BeforeValidator:
    return BeforeValidator(lambda value: one_of(value, names, what))


Time = Annotated[float, BeforeValidator(seconds_of)]
_Name = Annotated[str, Field(min_length=1, max_length=80)]


class Part(BaseModel):
    """A table of the file; a key that it does not know is a mistake."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=False, allow_inf_nan=False)


class Head(Part):
    """``[scenario]``."""

    title: _Name
    seed: int = Field(ge=0)
    duration: Time = Field(gt=0)
    customer: str = ""
    trial: str = ""
    opens: Time = 0.0
    scatter: bool = True


class MeltFlowPart(Part):
    """One of ``mfr`` in ``[material]``."""

    cel: float = Field(ge=100, le=400)
    load_kg: float = Field(ge=0.1, le=25)
    g_10min: float = Field(gt=0, le=2000)


_Percent = Annotated[float, Field(ge=0, le=100)]
_Moisture = Annotated[float, Field(ge=0, le=15)]
_Dirt = Annotated[float, Field(gt=0, le=20)]
_Ash = Annotated[float, Field(ge=0, le=60)]
_BulkDensity = Annotated[float, Field(ge=20, le=900)]
_Viscosity = Annotated[float, Field(ge=0.1, le=10)]
_Fineness = Annotated[float, Field(ge=20, le=3000)]
_Area = Annotated[float, Field(ge=50, le=20_000)]


class MaterialPart(Part):
    """``[material]``."""

    polymer: Annotated[str, _known(POLYMERS, "polymer")]
    form: str = ""
    lot: str = ""
    bale: str = ""
    bulk_density_kg_m3: _BulkDensity = 290.0
    moisture_percent: _Moisture = 0.3
    dirt_percent: _Dirt = 1.4
    ash_percent: _Ash = 1.9
    mfr: list[MeltFlowPart] = Field(default_factory=list)
    dsc_peaks_cel: list[Annotated[float, Field(ge=30, le=400)]] = Field(default_factory=list)
    second_polymer_percent: _Percent = 0.0
    viscosity_factor: _Viscosity = 1.0


class LinePart(Part):
    """``[line]``."""

    barrel_zones: int = Field(default=5, ge=3, le=12)
    plates: int = Field(default=8, ge=3, le=12)
    pump_zones: int = Field(default=2, ge=1, le=4)
    die_zones: int = Field(default=1, ge=1, le=8)
    melt_pump: bool = False
    barrel_kw: float = Field(default=9.0, ge=1, le=60)
    plate_kw: float = Field(default=2.4, ge=0.3, le=15)
    die_kw: float = Field(default=7.0, ge=1, le=60)
    screen_area_cm2: _Area = 1178.0
    fineness_um: _Fineness = 110.0
    screen_serial: _Name = "S-1"
    open_share: float = Field(default=0.10, ge=0.01, le=0.6)
    thickness_mm: float = Field(default=0.26, ge=0.02, le=3)
    retention: float = Field(default=0.78, ge=0.05, le=1)
    blocking: Annotated[Blocking, _known(get_args(Blocking), "blocking law")] = "cake"
    cake_m_kg: float = Field(default=2.2e6, ge=1e4, le=1e9)
    wiper_trigger: Annotated[WiperTrigger, _known(get_args(WiperTrigger), "wiper trigger")] = "dp"
    wipe_s: float = Field(default=22.0, ge=3, le=600)
    wipe_revs: float = Field(default=2.0, ge=0.25, le=20)
    carry_kg: float = Field(default=0.55, ge=0, le=10)
    die_holes: int = Field(default=120, ge=4, le=1000)
    hole_mm: float = Field(default=2.6, ge=0.5, le=6)
    knives: int = Field(default=4, ge=1, le=24)
    land_mm: float = Field(default=20.5, ge=1, le=100)
    soak: Time = Field(default=1800.0, ge=0)
    planned_kg_h: float = Field(default=780.0, ge=20, le=3000)
    planned_screw_min: float = Field(default=95.0, ge=5, le=600)


class StepPart(Part):
    """One ``[[step]]``."""

    at: Time
    do: Annotated[Action | NoteStep, _known((*get_args(Action), *get_args(NoteStep)), "act of the operator")]
    tag: str | None = None
    to: float | None = None
    over: Time | None = None
    place: int | None = Field(default=None, ge=1)
    key: str | None = None
    text: str | None = None
    serial: _Name | None = None
    fineness_um: _Fineness | None = None
    area_cm2: _Area | None = None
    lot: _Name | None = None
    bale: _Name | None = None
    moisture_percent: _Moisture | None = None
    dirt_percent: _Dirt | None = None
    bulk_density_kg_m3: _BulkDensity | None = None
    ash_percent: _Ash | None = None
    viscosity_factor: _Viscosity | None = None

    @model_validator(mode="after")
    def _complete(self) -> Self:
        given = {k for k in self.model_fields_set if getattr(self, k) is not None} - {"at", "do"}
        missing = [k for k in _NEEDED.get(self.do, ()) if k not in given]
        if missing:
            raise ValueError(f"'{self.do}' needs {' and '.join(repr(k) for k in missing)}")
        strange = sorted(given - set(_KEYS_OF.get(self.do, ())))
        if strange:
            belongs = sorted(act for act, keys in _KEYS_OF.items() if strange[0] in keys)
            raise ValueError(f"'{strange[0]}' belongs to do = \"{belongs[0]}\", not to '{self.do}'")
        if self.do == "lot change" and not given:
            raise ValueError("a lot change says what is new: 'lot', 'bale', 'moisture_percent' …")
        if self.key is not None:
            marks = self.do == "mark"
            one_of(self.key, MARKS if marks else PERMISSIVES, "mark" if marks else "permissive")
        return self


class FaultPart(Part):
    """One ``[[fault]]``."""

    id: _Name
    fault: Annotated[str, _known(FAULTS, "fault")]
    onset: Time
    end: Time | None = None
    ramp: Time = 0.0
    severity: float = Field(default=1.0, gt=0, le=1)
    place: int | None = Field(default=None, ge=1)
    tag: str = ""
    source: Annotated[str, _known(("", *SOURCES), "source")] = ""

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.end is not None and self.end <= self.onset:
            raise ValueError("the end is not after the onset")
        order = FaultOrder(
            self.id, self.fault, self.onset, place=self.place, tag=self.tag, source=self.source
        )
        if missing := what_is_missing(order):
            raise ValueError(missing)
        return self


class LabelPart(Part):
    """One ``[[label]]``."""

    id: _Name
    text: str
    start: Time
    until: Time
    must_stay_quiet: bool = False
    fault: Annotated[str, _known(("", *FAULTS), "fault")] = ""
    tags: list[str] = Field(default_factory=list)
    expected_severity: int | None = Field(default=None, ge=1, le=4)
    must_detect_within: Time | None = None
    must_not_alarm: list[Annotated[str, _known(FAULTS, "fault")]] = Field(default_factory=list)

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        if self.until <= self.start:
            raise ValueError("'until' is not after the start")
        wrong = [k for k in ("fault", "expected_severity", "must_detect_within") if getattr(self, k)]
        if self.must_stay_quiet and wrong:
            raise ValueError(f"what must stay quiet has no '{wrong[0]}'")
        return self


class SamplePart(Part):
    """One ``[[sample]]``."""

    bag: _Name
    at: Time
    place: Annotated[Place, _known(get_args(Place), "place of a sample")] = "pellets"
    measures: list[Annotated[str, _known(MEASURES, "measure")]] = Field(min_length=1)
    results: Time

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.results <= self.at:
            raise ValueError("the results are not later than the sample")
        for name in self.measures:
            if self.place not in MEASURES[name].places:
                raise ValueError(f"'{name}' is not measured on {self.place}")
        return self


class NotePart(Part):
    """One ``[[note]]``."""

    at: Time
    role: _Name
    text: str = Field(min_length=1)


class AnalysisPart(Part):
    """One ``[[pre_analysis]]``."""

    what: _Name
    value: float
    unit: str
    method: str = ""


class SourcePart(Part):
    """One ``[[source]]``."""

    name: Annotated[str, _known(SOURCES, "source")]
    clock_ahead_s: float = Field(default=0.0, ge=-86_400, le=86_400)


class File(Part):
    """The whole file."""

    scenario: Head
    material: MaterialPart
    line: LinePart = Field(default_factory=LinePart)
    settings: dict[str, float] = Field(default_factory=dict)
    step: list[StepPart] = Field(default_factory=list)
    fault: list[FaultPart] = Field(default_factory=list)
    label: list[LabelPart] = Field(default_factory=list)
    sample: list[SamplePart] = Field(default_factory=list)
    note: list[NotePart] = Field(default_factory=list)
    pre_analysis: list[AnalysisPart] = Field(default_factory=list)
    source: list[SourcePart] = Field(default_factory=list)


TABLES: dict[str, type[Part]] = {
    "scenario": Head,
    "material": MaterialPart,
    "line": LinePart,
    "step": StepPart,
    "fault": FaultPart,
    "label": LabelPart,
    "sample": SamplePart,
    "note": NotePart,
    "pre_analysis": AnalysisPart,
    "source": SourcePart,
}


def reason_of(error: dict[str, Any]) -> str:
    """One mistake as a person reads it."""
    loc = error["loc"]
    key = ".".join(str(part) for part in loc)
    if error["type"] == "extra_forbidden":
        part = File if len(loc) == 1 else TABLES.get(str(loc[0]), File)
        if loc[:-1] and isinstance(loc[-2], int) and loc[-3] == "mfr":
            part = MeltFlowPart
        name = str(loc[-1])
        near = get_close_matches(name, list(part.model_fields), 1)
        homes = [f"[{table}]" for table, other in TABLES.items() if name in other.model_fields]
        if near:
            return f"unknown key '{key}'; did you mean '{near[0]}'?"
        return f"unknown key '{key}'" + (f"; it belongs to {homes[0]}" if homes else "")
    if error["type"] == "missing":
        return f"'{key}' is missing"
    return f"{key}: {error['msg'].removeprefix('Value error, ')}"
