"""The forms of a trial's record: what a person hands in, checked, with quantities as written ("290 kg/m3").

Each form is one kind of entry of the record (``trials.record.entries``). What is kept are its JSON types,
numbers in the unit that the key's form names; what was not told is left out, never guessed.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Final, Literal

from pydantic import Field, ValidationError, model_validator

from historian.errors import WrongInput
from historian.units import shown_unit
from historian.written import Section, quantity_in
from trials.forms.measures import Of, kept_value, measure_of

Words = Annotated[str, Field(min_length=1, max_length=2000)]
Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f]+$")]
KgPerHour = Annotated[float, quantity_in("kg/h"), Field(gt=0)]
Kg = Annotated[float, quantity_in("kg"), Field(gt=0)]
NetKg = Annotated[float, quantity_in("kg"), Field(ge=0)]
SquareCm = Annotated[float, quantity_in("cm2"), Field(gt=0)]
Micrometre = Annotated[float, quantity_in("um"), Field(gt=0)]
Percent = Annotated[float, quantity_in("%"), Field(ge=0, le=100)]
Celsius = Annotated[float, quantity_in("Cel"), Field(ge=-273.15, le=600)]
Millimetre = Annotated[float, quantity_in("mm"), Field(gt=0)]
Minutes = Annotated[float, quantity_in("min"), Field(gt=0)]

ASSESSED: Final = {
    "pvc": "polyvinyl chloride",
    "pom": "polyoxymethylene",
    "flame-retardant": "flame retardants",
    "unknown-polymer": "polymers that are not known",
    "batteries": "batteries",
    "aerosols": "aerosol cans and gas cartridges",
    "metal-dust": "metal dust",
}
"""What can hurt people when it is melted: never assessed by us, only by a person who enters a result."""


class Material(Section):
    """What the customer brought."""

    polymer: Name = Field(description="As the customer names it, such as PE-LD.")
    form: Name = Field(description="Flakes, film agglomerate, regrind, lumps …")
    lot: Name = Field(description="Of the customer.")
    amount: Kg | None = Field(None, description="How much was delivered.")
    contamination: Words | None = Field(None, description="What is seen in it, or told of it.")
    open_since: Words | None = Field(None, description="How long it stood open before the trial.")
    fillers: Words | None = Field(None, description="Fillers, colour, additives that are known.")
    melt_density: Annotated[float, quantity_in("kg/m3"), Field(gt=0)] | None = Field(
        None, description="Density of the melt at the trial's temperature."
    )
    activation_energy: Annotated[float, quantity_in("kJ/mol"), Field(gt=0)] | None = Field(
        None, description="How the melt thins with temperature; with two melt flow rates it gives viscosity."
    )
    heat_capacity: Annotated[float, quantity_in("kJ/(kg.K)"), Field(gt=0)] | None = Field(
        None, description="One mean of solid and melt."
    )
    melting: Annotated[float, quantity_in("kJ/kg"), Field(ge=0)] | None = Field(
        None, description="Heat that melting takes."
    )
    pellet_temperature: Celsius | None = Field(
        None, description="Of the pellets in their core, as they leave the process water."
    )


class PreAnalysis(Section):
    """One result of the analysis before the trial, or of the laboratory afterwards."""

    what: Name = Field(description="What was measured: bulk-density, moisture, melt-flow-rate …")
    value: Words = Field(description='With its unit; "< 0.05 %" for less than that.')
    of: Of = Of.FEED
    method: Words | None = Field(None, description="Method or standard, temperature, time.")
    temperature: Celsius | None = Field(None, description="Temperature of a melt flow rate.")
    load: Kg | None = Field(None, description="Load of a melt flow rate.")
    lot: Name | None = None
    replicate: Annotated[int, Field(ge=1, le=100)] = 1

    @model_validator(mode="after")
    def _can_be(self) -> PreAnalysis:
        """The value is one that can be measured, with all that must be told beside it."""
        try:
            measured(self.what, self.value, self.of)
            asks = measure_of(self.what).asks
        except WrongInput as error:
            raise ValueError(str(error)) from error
        missing = [f"the {key}" for key in asks if getattr(self, key) is None]
        if missing:
            raise ValueError(f"{measure_of(self.what).text}: tell {' and '.join(missing)} beside it")
        return self


class Result(PreAnalysis):
    """A laboratory's result of a sample."""

    sample: Name = Field(description="Of which sample.")
    of: Of = Of.PELLETS


class Assessment(Section):
    """A person's answer to whether something that can hurt people is in the material."""

    what: Literal[
        "pvc", "pom", "flame-retardant", "unknown-polymer", "batteries", "aerosols", "metal-dust"
    ] = Field(description=f"One of: {', '.join(ASSESSED)}.")
    found: bool = Field(description="Whether it was found.")
    how: Words = Field(description="How it was looked for, by which method.")


class Target(Section):
    """A figure that the customer wants, with what would be good."""

    figure: Name = Field(description="Name of a figure of the report.")
    least: Words | None = Field(None, description="At least, with its unit.")
    most: Words | None = Field(None, description="At most, with its unit.")

    @model_validator(mode="after")
    def _one_at_least(self) -> Target:
        if self.least is None and self.most is None:
            raise ValueError("a target says at least (least) or at most (most)")
        return self


class Plan(Section):
    """What is asked, and how it is to be tried."""

    question: Words = Field(description="The customer's question, in one sentence.")
    throughput: KgPerHour | None = Field(None, description="Planned throughput.")
    fineness: list[Micrometre] = Field([], description="Screens to be tried.")
    settings: dict[str, Words] = Field({}, description="Set-points by tag, each with its unit.")
    steady: Minutes | None = Field(None, description="How long it is to run steadily at least.")
    target: list[Target] = Field([], description="What the customer wants.")


class Person(Section):
    """Who has which part in the trial."""

    name: Name
    role: Literal["trial engineer", "operator", "laboratory", "customer", "process lead", "maintenance"]


class Screen(Section):
    """The screen that was mounted."""

    serial: Name = Field(description="Its number, or what tells it from others.")
    fineness: Micrometre
    area: SquareCm | None = Field(None, description="Area through which melt flows.")
    open: Percent | None = Field(None, description="Open share of that area.")
    mesh: Words | None = Field(None, description="Mesh or weave as its maker writes it; never converted.")
    why: Words | None = Field(None, description="Why it was changed.")


class Die(Section):
    """The die plate and the knives before it."""

    holes: Annotated[int, Field(gt=0, le=10_000)] = Field(description="Open holes.")
    hole: Millimetre = Field(description="Diameter of a hole.")
    knives: Annotated[int, Field(gt=0, le=100)] = Field(description="On the rotor.")
    swell: Annotated[float, Field(ge=0.5, le=5)] | None = Field(
        None, description="Area of a strand over that of its hole, from a measured pellet length."
    )


class Setting(Section):
    """Why something was set otherwise; also what was set by hand and has no tag."""

    what: Name = Field(description="The set-point's tag, or what was turned by hand.")
    before: Words | None = Field(None, description="With its unit; a tag tells it by itself.")
    after: Words | None = Field(None, description="With its unit; a tag tells it by itself.")
    why: Words


class PhaseRow(Section):
    """One phase as somebody wants it to stand."""

    name: Literal[
        "unknown",
        "off",
        "heat-up",
        "soak",
        "start",
        "ramp",
        "steady",
        "running",
        "standby",
        "shutdown",
        "screen change",
        "material change",
    ]
    start_ns: int
    end_ns: int
    reason: str
    confidence: Annotated[float, Field(ge=0, le=1)] = 1.0
    by_hand: bool = False

    @model_validator(mode="after")
    def _lasts(self) -> PhaseRow:
        if self.end_ns <= self.start_ns:
            raise ValueError("a phase ends after it begins")
        return self


class Phases(Section):
    """The phases of a trial from the first cut by hand on; nothing cuts them again by itself."""

    phase: list[PhaseRow] = Field(min_length=1, description="In the order of time, without holes.")
    why: Words = Field(description="Why they were cut by hand.")

    @model_validator(mode="after")
    def _without_holes(self) -> Phases:
        for before, after in pairwise(self.phase):
            if after.start_ns != before.end_ns:
                raise ValueError("each phase begins where the one before it ends")
        return self


class Lot(Section):
    """From when on which lot or bale was fed."""

    lot: Name
    bale: Name | None = None


class Sample(Section):
    """A sample that was taken."""

    name: Name = Field(description="Its number, as on the label.")
    of: Of = Of.PELLETS
    bag: Name | None = Field(None, description="Of which bag.")
    place: Words | None = Field(None, description="Where it was taken.")


class Weighing(Section):
    """What was discharged, weighed in its bucket."""

    gross: NetKg
    tare: NetKg
    minutes: Minutes | None = Field(None, description="Over how long it came; else since the last weighing.")
    bucket: Name | None = None

    @model_validator(mode="after")
    def _not_less(self) -> Weighing:
        if self.gross < self.tare:
            raise ValueError(f"gross {self.gross:g} kg is less than the tare {self.tare:g} kg")
        return self


class Bag(Section):
    """A bag of pellets that was filled until then."""

    name: Name
    net: NetKg | None = None
    use: Literal["good", "reject", "held back"] = "good"


class Note(Section):
    """Words."""

    text: Words
    kind: Name = "note"


class Photo(Section):
    """A picture; the file stands beside the record under its hash."""

    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    name: Name = Field(description="Of the file, as it came.")
    of: Words = Field(description="What is to be seen: material, sample, screen or finding, and which.")


class ZeroCheck(Section):
    """The pressures' readings where a person has confirmed the zero state, by the maker's procedure.

    It is no statement that anything is free of pressure.
    """

    reading: dict[str, Words] = Field(min_length=1, description="Tag → what it reads, with its unit.")
    after: Words | None = Field(None, description="Hours since it was mounted, calibration sheet, or other.")


class Sitting(Section):
    """A day's part of a trial begins or ends."""

    act: Literal["begin", "end"]


def measured(what: str, written: str, of: Of) -> tuple[float, bool]:
    """A measured value as written: in the kept unit, and whether it is less than that.

    Raises:
        WrongInput: no number with a unit, or one that cannot be.

    Example:
        >>> measured("moisture", "< 500 [ppm]", Of.PELLETS)
        (0.05, True)
    """
    text = written.strip()
    less = text.startswith("<")
    number, _, unit = text.removeprefix("<").strip().partition(" ")
    try:
        value = float(number)
    except ValueError as error:
        shown = shown_unit(measure_of(what).unit)
        raise WrongInput(
            f"'{written[:40]}' is not a number, a space and a unit, such as 4.2 {shown}"
        ) from error
    return kept_value(what, value, unit.strip() or "1", of), less


def filled_in(form: type[Section], data: dict[str, Any], where: str = "") -> dict[str, Any]:
    """What was handed in, checked; the words as written, so that nothing is lost to a conversion.

    Args:
        where: what the errors name, such as a file and its line.

    Raises:
        WrongInput: naming the key and the remedy.
    """
    try:
        form.model_validate(data)
    except ValidationError as error:
        faults = "; ".join(_told(one) for one in error.errors())
        raise WrongInput(f"{f'{where}: ' if where else ''}{faults}") from error
    return data


def _told(fault: Any) -> str:
    key = ".".join(str(part) for part in fault["loc"])
    message = str(fault["msg"]).removeprefix("Value error, ")
    if fault["type"] == "extra_forbidden":
        message = "there is no such key"
    return f"{key}: {message}" if key else message
