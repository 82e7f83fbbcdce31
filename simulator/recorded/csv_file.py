"""Reads recorded data from a CSV file: wide (a column a tag) or long (a row a sample).

Wide: the first column is the time, the others have tag paths as headings. A row below them may give the units
(its first cell is empty or says ``unit``). ``PATH:quality`` heads the qualities of a tag. An empty cell is no
sample; ``nan`` is a sample without a value.
Long: columns ``time`` (or ``time_ns``), ``path`` (or ``tag``), ``value``, and where wanted ``quality`` and
``unit``. A ledger of published samples is such a file.
Times are ISO 8601 (without a zone: UTC) or whole nanoseconds since 1970. Qualities are OPC UA StatusCodes,
as numbers (``0x…`` too) or as ``good``, ``uncertain``, ``bad``; without them a value is good. Cells are
separated by comma, semicolon or tab; with semicolons a comma in a number is its decimal point.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import numpy as np

from historian.catalogue import canonical_tag, meaning_of
from historian.errors import MeltledgerError, WrongInput
from historian.frame import NS, Qualities, Times, Values
from historian.quality import BAD, GOOD, NO_DATA, UNCERTAIN
from historian.tags import Tag
from historian.units import conversion, ucum

SOURCE: Final = "playback"
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FRACTION = re.compile(r"^(.*\d{2}:\d{2}:\d{2})[.,](\d{1,9})(.*)$")
_WORDS: Final[Mapping[str, int]] = {"good": GOOD, "uncertain": UNCERTAIN, "bad": BAD}
_BOOLEANS: Final[Mapping[str, float]] = {"true": 1.0, "false": 0.0}
# A whole number below this cannot be nanoseconds of this age: it lies in the first months of 1970.
_FIRST_NS = 10_000_000 * NS


@dataclass(frozen=True, slots=True)
class Samples:
    """Samples in the order of time.

    Attributes:
        column: place of the tag in its list, shape (n,).
        time_ns, value, quality: as in a ``Series``, shape (n,).
    """

    column: Times
    time_ns: Times
    value: Values
    quality: Qualities

    def __len__(self) -> int:
        return len(self.time_ns)


@dataclass(slots=True)
class _Columns:
    """What has been read so far, up to which line."""

    line: int = 1
    tags: dict[str, Tag] = field(default_factory=dict)
    scaling: dict[str, tuple[float, float]] = field(default_factory=dict)
    column: list[int] = field(default_factory=list)
    time_ns: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    quality: list[int] = field(default_factory=list)

    def declare(self, path: str, unit: str) -> None:
        """Take in a tag with the unit that the file gives it (empty: that of the catalogue)."""
        own = ucum(unit) if unit else ""
        self.tags[path] = canonical_tag(path, source=SOURCE, simulated=True, unit=own or "1")
        if own and meaning_of(path) is not None:
            self.scaling[path] = conversion(own, self.tags[path].unit)

    def add(self, column: int, path: str, time_ns: int, value: float, quality: int | None) -> None:
        scale, offset = self.scaling.get(path, (1.0, 0.0))
        self.column.append(column)
        self.time_ns.append(time_ns)
        self.value.append(value * scale + offset)
        self.quality.append((NO_DATA if np.isnan(value) else GOOD) if quality is None else quality)

    def sorted(self) -> tuple[tuple[Tag, ...], Samples]:
        times = np.array(self.time_ns, dtype=np.int64)
        order = np.argsort(times, kind="stable")
        return tuple(self.tags.values()), Samples(
            np.array(self.column, dtype=np.int64)[order],
            times[order],
            np.array(self.value, dtype=np.float64)[order],
            np.array(self.quality, dtype=np.uint32)[order],
        )


Rows = Iterator[tuple[int, list[str]]]


def read_csv(path: Path) -> tuple[tuple[Tag, ...], Samples]:
    """The tags and the samples of a file, these in order of time.

    Raises:
        WrongInput: naming file, line and remedy.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            first = file.readline()
            separator = max(";\t,", key=first.count)
            file.seek(0)
            rows = (
                (number, [cell.strip() for cell in row])
                for number, row in enumerate(csv.reader(file, delimiter=separator), start=1)
                if any(cell.strip() for cell in row)
            )
            return _read(path, rows, decimal_comma=separator == ";")
    except OSError as error:
        raise WrongInput(f"{path}: the file cannot be read ({error.strerror}); name another one") from error
    except (csv.Error, UnicodeDecodeError) as error:
        raise WrongInput(f"{path}: not a CSV file in UTF-8 ({error}); save it as one") from error


def _read(path: Path, rows: Rows, *, decimal_comma: bool) -> tuple[tuple[Tag, ...], Samples]:
    _, heads = next(rows, (1, []))
    if len(heads) < 2:
        raise WrongInput(f"{path}:1: a heading with the time and at least one tag path is needed")
    low = [head.lower() for head in heads]
    found = _Columns()
    read = _long if "value" in low and {"path", "tag"} & set(low) else _wide
    try:
        read(heads, rows, found, _number_with_comma if decimal_comma else _number)
    except IndexError as error:
        raise WrongInput(f"{path}:{found.line}: this row has fewer cells than the heading") from error
    except MeltledgerError as error:
        raise WrongInput(f"{path}:{found.line}: {error}") from error
    if not found.time_ns:
        raise WrongInput(f"{path}: there is no sample in it")
    return found.sorted()


def _wide(heads: list[str], rows: Rows, found: _Columns, number: Callable[[str], float]) -> None:
    paths = [head for head in heads[1:] if not head.endswith(":quality")]
    if len(set(heads)) < len(heads):
        raise WrongInput("a heading stands there twice")
    place_of_quality = {h.removesuffix(":quality"): k for k, h in enumerate(heads) if h.endswith(":quality")}
    places = [(column, heads.index(path), path) for column, path in enumerate(paths)]
    if strays := set(place_of_quality) - set(paths):
        raise WrongInput(f"{min(strays)}:quality has no column {min(strays)} beside it")
    for found.line, row in rows:
        if not found.tags:
            units = row[0].lower() in ("", "unit", "units")
            for _, place, path in places:
                found.declare(path, row[place] if units else "")
            if units:
                continue
        time_ns = time_of(row[0])
        for column, place, path in places:
            if place < len(row) and row[place]:
                quality = place_of_quality.get(path)
                code = None if quality is None or quality >= len(row) else _quality(row[quality])
                found.add(column, path, time_ns, number(row[place]), code)


def _long(heads: list[str], rows: Rows, found: _Columns, number: Callable[[str], float]) -> None:
    place = {head.lower(): k for k, head in enumerate(heads)}
    path_at = place.get("path", place.get("tag", 0))
    time_at = place.get("time_ns", place.get("time", 0))
    if time_at == path_at:
        raise WrongInput("a column 'time' or 'time_ns' is needed")
    columns: dict[str, int] = {}
    units: dict[str, str] = {}
    for found.line, row in rows:
        path = row[path_at]
        unit = row[place["unit"]] if "unit" in place else ""
        if path not in columns:
            columns[path], units[path] = len(columns), unit
            found.declare(path, unit)
        if unit != units[path]:
            raise WrongInput(f"{path} is in '{unit}' here and in '{units[path]}' above")
        code = _quality(row[place["quality"]]) if "quality" in place else None
        found.add(columns[path], path, time_of(row[time_at]), number(row[place["value"]]), code)


def time_of(text: str) -> int:
    """A written time as UTC nanoseconds since 1970, exact.

    Raises:
        WrongInput: for what is no time.

    Example:
        >>> time_of("2001-09-09T01:46:40.123456789Z"), time_of("2001-09-09 03:46:40+02:00")
        (1000000000123456789, 1000000000000000000)
    """
    if text.isdecimal():
        if int(text) < _FIRST_NS:
            raise WrongInput(
                f"'{text}' is too small for nanoseconds since 1970; write nanoseconds or ISO 8601"
            )
        return int(text)
    match = _FRACTION.match(text)
    whole, digits, zone = match.groups() if match else (text, "", "")
    try:
        moment = datetime.fromisoformat(whole + zone)
    except ValueError:
        raise WrongInput(f"'{text}' is no time; write nanoseconds since 1970 or ISO 8601") from None
    moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment
    return (moment - _EPOCH) // timedelta(microseconds=1) * 1000 + int(digits.ljust(9, "0"))


def _number(text: str) -> float:
    try:
        return _BOOLEANS[text.lower()] if text.lower() in _BOOLEANS else float(text)
    except ValueError:
        raise WrongInput(f"'{text}' is no number") from None


def _number_with_comma(text: str) -> float:
    return _number(text.replace(",", "."))


def _quality(text: str) -> int | None:
    if not text:
        return None
    try:
        code = _WORDS[text.lower()] if text.lower() in _WORDS else int(text, 0)
    except ValueError:
        raise WrongInput(f"'{text}' is no quality; write good, uncertain, bad or a StatusCode") from None
    if not 0 <= code < 2**32:
        raise WrongInput(f"'{text}' is no StatusCode: it has 32 bits")
    return code
