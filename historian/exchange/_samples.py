"""The second pass over a file: its rows as samples, each time of a tag once."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from historian.errors import WrongInput
from historian.exchange._numbers import Column, NumberForm, read_column
from historian.exchange._plan import ColumnPlan, Plan
from historian.exchange._rejects import Rejects
from historian.exchange._survey import UNMAPPED, Survey
from historian.exchange._table import Row, shown
from historian.exchange._written import unit_of
from historian.exchange.mapping import CsvMapping
from historian.quality import is_bad

_CELLS_IN_LOT = 100_000
_FEWEST_ROWS = 256
_CODE = re.compile(r"0[xX][0-9a-fA-F]{1,8}|\d{1,10}")


@dataclass(frozen=True, slots=True)
class Samples:
    """Samples of several tags.

    Attributes:
        column: place in the plan's columns, shape (n,).
        time_ns, value, quality: as in a frame, values in the tag's unit, shape (n,).
    """

    column: NDArray[np.int32]
    time_ns: NDArray[np.int64]
    value: NDArray[np.float64]
    quality: NDArray[np.uint32]

    def __len__(self) -> int:
        return len(self.column)


_Sample = tuple[float, int, Row]


def is_status_code(number: int) -> bool:
    """Whether a number may be an OPC UA StatusCode, and not a panel's own 1 for good and 2 for doubtful.

    Source: OPC 10000-4, 7.39.1: the info bits are zero unless the info type (0x0400) says what they mean.

    Example:
        >>> [is_status_code(n) for n in (0, 1, 192, 0x0403, 0x808C0000, 2**32)]
        [True, False, False, True, True, False]
    """
    return number < 2**32 and (number >= 0x1_0000 or number == 0 or bool(number & 0x0400))


@dataclass(slots=True)
class Reader:
    """Turns rows into samples; counts what repeats.

    Attributes:
        repeated: samples that stood before with the same value and quality.
        overwritten: samples that a later row gave another value.
    """

    mapping: CsvMapping
    plan: Plan
    survey: Survey
    rejects: Rejects
    repeated: int = 0
    overwritten: int = 0
    _held: dict[int, dict[int, _Sample]] = field(default_factory=dict)
    _misfits: list[tuple[Row, str, bool]] = field(default_factory=list)

    def samples(self, rows: Iterable[Row], tick: Callable[[], None]) -> Iterator[Samples]:
        """The samples of all rows, a lot at a time; the last row of a time wins."""
        size = max(_FEWEST_ROWS, _CELLS_IN_LOT // (1 if self.mapping.long else len(self.plan.columns)))
        numbered = enumerate(rows)
        while lot := list(islice(numbered, size)):
            found = self._lot(lot)
            for row, reason, keep in sorted(self._misfits, key=lambda m: m[0].line):
                self.rejects.add(row, reason, keep=keep)
            self._misfits.clear()
            tick()
            if len(found):
                yield found

    def _lot(self, lot: list[tuple[int, Row]]) -> Samples:
        taken: list[tuple[int, Row]] = []
        for number, row in lot:
            fate = self.survey.fate[number]
            if fate == 0:
                taken.append((number, row))
            elif fate != UNMAPPED:
                self._misfit(row, self.survey.reason(number, self.mapping, self.plan, row.cells))
        numbers = np.array([n for n, _ in taken], dtype=np.intp)
        rows = [row for _, row in taken]
        repeats = np.array([n in self.survey.final for n, _ in taken], dtype=np.bool_)
        parts = [(np.zeros(0, np.int32), np.zeros(0, np.int64), np.zeros(0), np.zeros(0, np.uint32))]
        special: list[tuple[int, int, float, int]] = []
        for k, places, cells in self._columns(numbers, rows):
            once = cells.stays & ~repeats[places]
            time_ns = self.survey.time_ns[numbers[places[once]]]
            parts.append(
                (np.full(len(time_ns), k, np.int32), time_ns, cells.value[once], cells.quality[once])
            )
            special += (
                (int(places[j]), k, float(cells.value[j]), int(cells.quality[j]))
                for j in np.flatnonzero(cells.stays & repeats[places])
            )
        parts.append(self._settle(special, numbers, rows, repeats))
        return Samples(*(np.concatenate(c) for c in zip(*parts, strict=True)))

    def _columns(
        self, numbers: NDArray[np.intp], rows: list[Row]
    ) -> Iterator[tuple[int, NDArray[np.intp], Column]]:
        """(place in the plan, places in ``rows``, samples) of each column."""
        file = self.mapping.file
        form = NumberForm(file.decimal, file.thousands, frozenset(file.bad), file.empty == "no-data")
        group = self.survey.group[numbers]
        for k, column in enumerate(self.plan.columns):
            places = np.flatnonzero(group == k) if self.mapping.long else np.arange(len(rows))
            if len(places) == 0:
                continue
            cell = self.plan.long["value"] if self.mapping.long else column.place
            read = read_column([rows[j].cells[cell] for j in places], form, column.words)
            for j, reason in read.misfits.items():
                self._misfit(rows[places[j]], f"{column.name}: {reason}")
            if (column.scale, column.offset) != (1.0, 0.0) and self.plan.long.get("unit", -1) < 0:
                read.value[:] = read.value * column.scale + column.offset
            if self.mapping.long:
                self._own_units(column, [rows[j] for j in places], read)
                self._own_qualities(column, [rows[j] for j in places], read)
            yield k, places, read

    def _own_units(self, column: ColumnPlan, rows: list[Row], read: Column) -> None:
        """Convert each value from the unit in its own row."""
        place = self.plan.long["unit"]
        if place < 0:
            return
        written = [row.cells[place].strip() for row in rows]
        for text in dict.fromkeys(written):
            here = np.array([w == text for w in written])
            try:
                scale, offset = self._conversion(column, text)
            except WrongInput as error:
                for j in np.flatnonzero(here & read.stays):
                    self._misfit(rows[j], f"{column.name}: {error}")
                read.stays[here] = False
                continue
            if (scale, offset) != (1.0, 0.0):
                read.value[here] = read.value[here] * scale + offset

    def _conversion(self, column: ColumnPlan, text: str) -> tuple[float, float]:
        """(scale, offset) of a row's own unit; where it says none, that of the whole column counts."""
        if not text:
            if not column.unit and column.tag.unit != "1":
                raise WrongInput("neither the row nor the mapping says the unit: add it")
            return column.scale, column.offset
        unit, reference = unit_of(text)
        if reference and column.reference and reference != column.reference:
            raise WrongInput(
                f"'{text}' is {reference}, and the mapping says {column.reference}: the two are never mixed"
            )
        return column.conversion(unit, reference or column.reference)

    def _own_qualities(self, column: ColumnPlan, rows: list[Row], read: Column) -> None:
        """Take the quality in each row; a bad one makes a sample of an empty cell too."""
        place = self.plan.long["quality"]
        if place < 0:
            return
        codes = self.mapping.status_codes()
        for j, row in enumerate(rows):
            word = row.cells[place].strip()
            code = codes.get(word)
            if code is None and not codes and _CODE.fullmatch(word):
                code = int(word, 16) if word[:2] in ("0x", "0X") else int(word)
                code = code if is_status_code(code) else None
            if code is None:
                if read.stays[j] or word:
                    self._misfit(
                        row, f"{column.name}: the quality '{shown(word)}' is unknown: add it to [qualities]"
                    )
                read.stays[j] = False
                continue
            bad = bool(is_bad(np.array([code], np.uint32))[0])
            if j in read.misfits or (not bad and not (read.stays[j] and math.isfinite(read.value[j]))):
                continue
            read.quality[j], read.stays[j] = code, True
            if bad:
                read.value[j] = math.nan

    def _settle(
        self,
        special: list[tuple[int, int, float, int]],
        numbers: NDArray[np.intp],
        rows: list[Row],
        repeats: NDArray[np.bool_],
    ) -> tuple[NDArray[np.int32], NDArray[np.int64], NDArray[np.float64], NDArray[np.uint32]]:
        """Hold samples of rows that repeat until the last of them; what is settled here."""
        by_place: dict[int, list[tuple[int, float, int]]] = {}
        for place, k, value, quality in special:
            by_place.setdefault(place, []).append((k, value, quality))
        column, time_ns, values, qualities = [], [], [], []
        for place in np.flatnonzero(repeats).tolist():
            number = int(numbers[place])
            final = self.survey.final[number]
            held = self._held.setdefault(final, {})
            for k, value, quality in by_place.get(place, []):
                self._put(held, k, (value, quality, rows[place]))
            if number == final:
                for k, (value, quality, _) in self._held.pop(final).items():
                    column.append(k)
                    time_ns.append(int(self.survey.time_ns[number]))
                    values.append(value)
                    qualities.append(quality)
        return (
            np.array(column, np.int32),
            np.array(time_ns, np.int64),
            np.array(values, np.float64),
            np.array(qualities, np.uint32),
        )

    def _put(self, held: dict[int, _Sample], k: int, new: _Sample) -> None:
        old = held.get(k)
        held[k] = new
        if old is None:
            return
        if old[1] == new[1] and (old[0] == new[0] or (math.isnan(old[0]) and math.isnan(new[0]))):
            self.repeated += 1
            return
        self.overwritten += 1
        said = f"{old[0]:.15g} is overwritten by {new[0]:.15g} of line {new[2].line} at the same time"
        self._misfits.append((old[2], f"{self.plan.columns[k].name}: {said}", False))

    def _misfit(self, row: Row, reason: str) -> None:
        self._misfits.append((row, reason, True))
