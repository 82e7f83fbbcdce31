"""The keys of a register of sensors, ``sensors.toml``, and what they mean for the line's tags."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, StrictFloat, StrictInt

from historian.errors import WrongInput
from historian.retention import duration_ns
from historian.sensors.register import Check, Point, Register, Sensor
from historian.sensors.tolerance import tolerance_of
from historian.sensors.uncertainty import from_expanded
from historian.tags import Tag
from historian.units import conversion, difference_scale, quantity
from historian.written import Section
from meltledger.linefile.sensors import measured_end
from meltledger.linefile.words import Duration, Place, TagPath, UcumCode


def _day(value: Any) -> Any:
    """A date and nothing else: TOML has dates of its own, and 20260302 is a number."""
    if type(value) is date:
        return value
    raise ValueError("write it as a date without quotes, such as 2026-03-02")


Day = Annotated[date, BeforeValidator(_day)]
Row = tuple[StrictInt | StrictFloat, StrictInt | StrictFloat]
Serial = Annotated[str, Field(min_length=1, max_length=60)]


class SensorSection(Section):
    """One sensor."""

    tag: TagPath = Field(description="Tag that it measures.")
    serial: Serial = Field(description="Its serial number.")
    type: str = Field("", description="What it is.")
    range: tuple[str, str] = Field(description='Its range, as ["0 bar", "350 bar"].')
    accuracy: str = Field(
        description="Limit of error that its maker promises: of the range (0.5 %), with a unit (1.2 bar), "
        "or a class (Pt100 A, thermocouple K 2)."
    )
    interval: Duration = Field("1y", description="Time from one check to the next.")
    fitted: Day | None = Field(None, description="First day at this tag; must be there for its successor.")
    resolution: str | None = Field(None, description="Smallest step of its values, such as 0.1 bar.")

    def sensor(self, unit: str, reference: str) -> Sensor:
        """The sensor, in the tag's unit.

        Raises:
            WrongInput: a quantity cannot be meant; naming its key.
        """
        with _at("range"):
            low, high = (_in_unit(text, unit, reference) for text in self.range)
            if not low < high:
                raise WrongInput("its second end must be more than its first")
        with _at("accuracy"):
            tolerance = tolerance_of(self.accuracy, high - low, unit)
        with _at("resolution"):
            step = None if self.resolution is None else _difference(self.resolution, unit)
        interval_ns = duration_ns(self.interval)
        return Sensor(self.tag, self.serial, self.type, low, high, tolerance, interval_ns, self.fitted, step)


class CheckSection(Section):
    """One check of a sensor; further ones are added at the end of the file."""

    serial: Serial = Field(description="Serial number of the sensor.")
    date: Day = Field(description="Day of the check.")
    by: str = Field(min_length=1, description="Who did it.")
    unit: UcumCode | None = Field(None, description="Unit of the rows; that of the tag when left out.")
    as_found: tuple[Row, ...] = Field(
        (), description="Rows before anything was adjusted: [[reference, reading], …]."
    )
    as_left: tuple[Row, ...] = Field((), description="Rows afterwards; left out when nothing was adjusted.")
    zero: str | None = Field(
        None, description="Reading without load, before anything was adjusted, such as 0.4 bar."
    )
    reference: str | None = Field(
        None, description="Expanded uncertainty (coverage factor 2) of the reference, such as 0.1 bar."
    )
    certificate: str = Field("", description="Number of the certificate.")

    def check(self, unit: str) -> Check:
        """The check, in the tag's unit.

        Raises:
            WrongInput: a quantity cannot be meant; naming its key.
        """
        if not (self.as_found or self.as_left or self.zero):
            raise WrongInput("a check says at least one of as_found, as_left and zero; add it")
        with _at("as_left"):
            if len(self.as_found) > 1 and len(self.as_left) == 1:
                raise WrongInput("give at least two rows, or leave it out when nothing was adjusted")
        with _at("unit"):
            scale, offset = conversion(self.unit or unit, unit)
        with _at("zero"):
            zero = None if self.zero is None else Point(_nothing(self.zero, unit), quantity(self.zero, unit))
        with _at("reference"):
            known = None if self.reference is None else from_expanded(_difference(self.reference, unit))
        with _at("as_found"):
            found = _rows(self.as_found, scale, offset)
        with _at("as_left"):
            left = _rows(self.as_left, scale, offset)
        return Check(self.serial, self.date, self.by, found, left, zero, known, self.certificate)


class RegisterFile(Section):
    """A register of sensors."""

    sensor: tuple[SensorSection, ...] = ()
    check: tuple[CheckSection, ...] = ()

    def register(self, tags: Mapping[str, Tag]) -> tuple[Register, list[tuple[Place, str]]]:
        """The register, and what is well formed but cannot be meant.

        Args:
            tags: what the line's sources deliver, by path.
        """
        faults: list[tuple[Place, str]] = [*self._doubles()]
        sensors: dict[str, Sensor] = {}
        for number, section in enumerate(self.sensor):
            tag = tags.get(section.tag)
            if tag is None:
                near = difflib.get_close_matches(section.tag, tags, n=1, cutoff=0.6)
                hint = f"the nearest is '{near[0]}'" if near else "add it to a source's tags, or take it out"
                faults.append((("sensor", number, "tag"), f"no source delivers '{section.tag}'; {hint}"))
                continue
            try:
                sensors[section.serial] = section.sensor(tag.unit, tag.reference)
            except _AtKey as wrong:
                faults.append((("sensor", number, wrong.key), str(wrong)))
        checks: list[Check] = []
        for number, about in enumerate(self.check):
            sensor = sensors.get(about.serial)
            if sensor is None:
                if about.serial not in {s.serial for s in self.sensor}:
                    faults.append((("check", number, "serial"), self._unknown(about.serial)))
                continue
            try:
                checks.append(about.check(tags[sensor.tag].unit))
            except _AtKey as wrong:
                faults.append((("check", number, wrong.key), str(wrong)))
            except WrongInput as wrong:
                faults.append((("check", number), str(wrong)))
        return Register.of(sensors.values(), checks), faults

    def _unknown(self, serial: str) -> str:
        known = [s.serial for s in self.sensor]
        near = difflib.get_close_matches(serial, known, n=1, cutoff=0.5)
        hint = f"the nearest is '{near[0]}'" if near else "describe it in a [[sensor]]"
        return f"no sensor has the serial number '{serial}'; {hint}"

    def _doubles(self) -> Iterator[tuple[Place, str]]:
        serials: set[str] = set()
        fitted: set[tuple[str, date | None]] = set()
        for number, s in enumerate(self.sensor):
            if s.serial in serials:
                yield ("sensor", number, "serial"), f"two sensors are numbered '{s.serial}'; correct one"
            if (s.tag, s.fitted) in fitted:
                yield (
                    ("sensor", number, "tag"),
                    f"two sensors measure '{s.tag}' from the same day; say with fitted when one came",
                )
            serials.add(s.serial)
            fitted.add((s.tag, s.fitted))
        days: set[tuple[str, date]] = set()
        for number, c in enumerate(self.check):
            if (c.serial, c.date) in days:
                yield (
                    ("check", number, "date"),
                    f"sensor '{c.serial}' has two checks on {c.date}; take one out",
                )
            days.add((c.serial, c.date))


class _AtKey(WrongInput):
    """What is wrong with one key of a section."""

    def __init__(self, key: str, said: str) -> None:
        super().__init__(said)
        self.key = key


@contextmanager
def _at(key: str) -> Iterator[None]:
    """Adds its key to what is wrong within."""
    try:
        yield
    except WrongInput as error:
        raise _AtKey(key, str(error)) from error


def _in_unit(text: str, unit: str, reference: str) -> float:
    """A written quantity in the tag's unit; gauge and absolute pressure are never mixed."""
    number, written, said = measured_end(text)
    if said and reference and said != reference:
        raise WrongInput(f"'{text}' is {said} pressure and the tag {reference}; the two are never mixed")
    scale, offset = conversion(written, unit)
    return number * scale + offset


def _rows(rows: tuple[Row, ...], scale: float, offset: float) -> tuple[Point, ...]:
    """Rows of a check in the tag's unit."""
    if not all(math.isfinite(number) for row in rows for number in row):
        raise WrongInput("every row is two finite numbers, [reference, reading]")
    return tuple(Point(ref * scale + offset, read * scale + offset) for ref, read in rows)


def _difference(text: str, unit: str) -> float:
    """A written difference, such as a step or a limit, in the tag's unit."""
    number, written, _ = measured_end(text)
    if not 0.0 <= number < math.inf:
        raise WrongInput(f"'{text}': write a number from 0 up and its unit")
    return number * difference_scale(written, unit)


def _nothing(text: str, unit: str) -> float:
    """Zero of a written quantity's unit, in the tag's unit."""
    _, written, _ = measured_end(text)
    return conversion(written, unit)[1]
