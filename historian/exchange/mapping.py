"""The mapping file: how a CSV file is written, and which of its columns is which tag.

```toml
[file]
separator = ";"             # one character; "\\t" is a tab
decimal = ","
thousands = ""              # mark between groups of three digits, if there is one
encoding = "cp1252"
header_line = 3             # the line that names the columns, from 1; 0 when there is none
units_line = 4              # a line of units below it; 0 when there is none
first_line = 5              # the first line of data
form = "wide"               # one column a tag; "long" is one row a sample
empty = "skip"              # an empty cell: "skip", nothing was logged; "no-data", a gap
bad = ["---", "OVER"]       # cells that mean a broken sensor

[time]
columns = ["Date", "Time"]  # joined with a space
format = "%d.%m.%Y %H:%M:%S"  # or iso, unix_s, unix_ms, unix_us, unix_ns, excel
zone = "Europe/Madrid"      # of the logger's clock; UTC for one that is never put forward
fold = "order"              # the hour that passes twice: by the "order" of rows, "first" or "second"
gap = "30 s"                # longer holes get a sample "no data"; leave out when only changes are logged

[[column]]
name = "Inlet pressure"     # as in the header, without its unit; or number = 3, counted from 1
tag = "filter.inlet.pressure.pv"
unit = "bar"                # of the file; may be left out when the header says it
reference = "gauge"         # of the file, for pressures: gauge or absolute
# ambient = "1013 mbar"     # the air then and there: only with it a pressure of the other reference converts

[[column]]
name = "Pump"
tag = "extruder.enable.state"
words = { "ein" = 1, "aus" = 0 }
```

In the long form, `[long]` names the columns `name`, `value` and, if there are any, `unit` and `quality`; each
`[[column]]` then names what stands in the column `name`. `[qualities]` gives each word of the quality column
one of good, uncertain and bad, or an OPC UA status code; without it the column holds status codes.
"""

from __future__ import annotations

import codecs
from collections.abc import Mapping
from typing import Literal
from zoneinfo import ZoneInfo

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    PrivateAttr,
    field_validator,
    model_validator,
)

from historian.errors import WrongInput
from historian.exchange._clock import stamp_reader
from historian.exchange._written import unit_of
from historian.exchange.errors import MappingFault, MappingWrong
from historian.frame import NS
from historian.places import line_of
from historian.quality import BAD, GOOD, UNCERTAIN
from historian.tags import TagKind, check_path
from historian.units import quantity

# The air's pressure on the Earth's ground, from high mountains to the deepest shores.
_LEAST_AIR, _MOST_AIR = 500, 1100
_LEVELS = {"good": GOOD, "uncertain": UNCERTAIN, "bad": BAD}


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class FileSection(_Section):
    """How the file is written; the keys stand at the top of this module."""

    separator: str = Field(default=",", min_length=1, max_length=1)
    decimal: Literal[".", ","] = "."
    thousands: str = Field(default="", max_length=1)
    encoding: str = "utf-8"
    header_line: int = Field(default=1, ge=0)
    units_line: int = Field(default=0, ge=0)
    first_line: int = Field(default=2, ge=1)
    form: Literal["wide", "long"] = "wide"
    empty: Literal["skip", "no-data"] = "skip"
    bad: tuple[str, ...] = ()

    @field_validator("encoding")
    @classmethod
    def _known(cls, name: str) -> str:
        try:
            codecs.lookup(name)
        except LookupError as error:
            raise ValueError(f"'{name}' is no known encoding; such as utf-8, cp1252, utf-16") from error
        return name

    @model_validator(mode="after")
    def _marks_differ(self) -> FileSection:
        if len({self.separator, self.decimal}) < 2 and self.separator:
            raise ValueError("the separator and the decimal mark are the same: one of them is wrong")
        if self.thousands and self.thousands in (self.decimal, self.separator):
            raise ValueError("the mark for thousands is used for something else already")
        if self.first_line <= max(self.header_line, self.units_line):
            raise ValueError("first_line must come after header_line and units_line")
        return self


class TimeSection(_Section):
    """Where the time stands and how it is meant."""

    columns: tuple[str | int, ...] = Field(min_length=1)
    format: str
    zone: str
    fold: Literal["order", "first", "second"] = "order"
    gap: str = ""

    @field_validator("columns")
    @classmethod
    def _counted_from_1(cls, columns: tuple[str | int, ...]) -> tuple[str | int, ...]:
        if any(isinstance(c, int) and c < 1 for c in columns):
            raise ValueError("columns are counted from 1")
        return columns

    @field_validator("format")
    @classmethod
    def _readable(cls, form: str) -> str:
        try:
            stamp_reader(form)
        except WrongInput as error:
            raise ValueError(str(error)) from error
        return form

    @field_validator("zone")
    @classmethod
    def _zone_known(cls, name: str) -> str:
        try:
            return check_zone(name)
        except WrongInput as error:
            raise ValueError(str(error)) from error

    @field_validator("gap")
    @classmethod
    def _gap_written(cls, text: str) -> str:
        try:
            if text and quantity(text, "s") <= 0:
                raise ValueError("the gap must be longer than nothing, such as 30 s")
        except WrongInput as error:
            raise ValueError(str(error)) from error
        return text

    @property
    def gap_ns(self) -> int:
        """The shortest hole that is marked, in ns; 0 when none is."""
        return round(quantity(self.gap, "s") * NS) if self.gap else 0


class LongSection(_Section):
    """The columns of a file in long form."""

    name: str | int
    value: str | int
    unit: str | int = ""
    quality: str | int = ""


class ColumnSection(_Section):
    """One column of the file, or one name in the long form, and the tag that it is."""

    name: str = ""
    number: int = Field(default=0, ge=0)
    tag: str
    unit: str = ""
    reference: Literal["", "gauge", "absolute"] = ""
    ambient: str = ""
    difference: bool = False
    words: Mapping[str, float] = Field(default_factory=dict)
    kind: TagKind | None = None
    text: str = ""

    @field_validator("tag")
    @classmethod
    def _canonical(cls, path: str) -> str:
        try:
            return check_path(path)
        except WrongInput as error:
            raise ValueError(str(error)) from error

    @field_validator("unit")
    @classmethod
    def _unit_known(cls, unit: str) -> str:
        try:
            return unit_of(unit)[0] and unit if unit else ""
        except WrongInput as error:
            raise ValueError(str(error)) from error

    @field_validator("ambient")
    @classmethod
    def _air(cls, text: str) -> str:
        try:
            if text and not _LEAST_AIR <= quantity(text, "mbar") <= _MOST_AIR:
                raise ValueError(f"{text} is no pressure of the air: give it absolute, such as 1013 mbar")
        except WrongInput as error:
            raise ValueError(str(error)) from error
        return text

    @model_validator(mode="after")
    def _named(self) -> ColumnSection:
        if not self.name and not self.number:
            raise ValueError("give the column's name, or its number counted from 1")
        return self


class CsvMapping(_Section):
    """A whole mapping file."""

    file: FileSection = FileSection()
    time: TimeSection
    long: LongSection | None = None
    column: tuple[ColumnSection, ...] = Field(min_length=1)
    qualities: Mapping[str, str | int] = Field(default_factory=dict)
    _where: str = PrivateAttr(default="mapping")
    _text: str = PrivateAttr(default="")

    @field_validator("qualities")
    @classmethod
    def _codes(cls, words: Mapping[str, str | int]) -> Mapping[str, str | int]:
        for word, level in words.items():
            if isinstance(level, str) and level not in _LEVELS:
                raise ValueError(f"'{word}' is '{level}': give good, uncertain, bad or an OPC UA status code")
            if isinstance(level, int) and not 0 <= level < 2**32:
                raise ValueError(f"'{word}' is {level}: an OPC UA status code has 32 bits")
        return words

    @model_validator(mode="after")
    def _form(self) -> CsvMapping:
        if (self.file.form == "long") != (self.long is not None):
            raise ValueError('the section [long] belongs to form = "long", and to no other')
        return self

    def standing_in(self, where: str, text: str) -> CsvMapping:
        """Itself, with the file and the text that it came from, so that faults can name the line."""
        self._where, self._text = where, text
        return self

    def wrong(self, faults: Mapping[tuple[str | int, ...], str]) -> MappingWrong:
        """The error that tells faults found by key, each with its line."""
        return MappingWrong(
            self._where,
            [MappingFault(line_of(self._text, key), dotted(key), said) for key, said in faults.items()],
        )

    def status_codes(self) -> dict[str, int]:
        """Word of the quality column → OPC UA status code."""
        return {w: _LEVELS[q] if isinstance(q, str) else q for w, q in self.qualities.items()}


def check_zone(name: str) -> str:
    """The name itself when it is one of a time zone.

    Raises:
        WrongInput: otherwise.
    """
    try:
        ZoneInfo(name)
    except (OSError, ValueError, KeyError) as error:
        raise WrongInput(f"'{name}' is no time zone; such as Europe/Madrid or UTC") from error
    return name


def dotted(key: tuple[str | int, ...]) -> str:
    """A key as it is shown: places from 1."""
    return ".".join(str(p + 1) if isinstance(p, int) else p for p in key) or "mapping"
