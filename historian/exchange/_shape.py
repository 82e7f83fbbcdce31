"""Finds how a text file is laid out: encoding, separator, header, line of units, decimal mark."""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from historian.errors import UnknownUnit, WrongInput
from historian.exchange._table import cells_of
from historian.exchange._written import unit_of

# In order of trust: a comma is the likeliest to be a decimal mark instead.
SEPARATORS: Final = (";", "\t", "|", ",")
_FIGURE = re.compile(r"[+\-.,]?\d[\d\s.,:/+\-TZeE']*(?:[AaPp]\.?[Mm]\.?)?|\d{1,2}-[A-Za-z]{3}-\d{2,4}.*")
_COMMA = re.compile(r"[+-]?\d+,\d+(?:[eE][+-]?\d+)?")
_POINT = re.compile(r"[+-]?\d+\.\d+(?:[eE][+-]?\d+)?")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([.,'])\d{3})+([.,])\d+")
# What stands over the times in a line of units, in the letters of several tongues.
_DATE_FORM = re.compile(r"[dmyahsjt]{1,4}(?:[./:\- ]+[dmyahsjtf0]{1,4})+", re.IGNORECASE)
_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_LINES = 2000


@dataclass(frozen=True, slots=True)
class Shape:
    """How a file is laid out.

    Attributes:
        separator, decimal, thousands: marks; ``thousands`` empty when there is none.
        header_line, units_line, first_line: line numbers from 1; 0 when there is none.
        names, units: cells of the header and of the line of units.
        columns: cells of the data by column, of the first rows.
    """

    separator: str
    decimal: str
    thousands: str
    header_line: int
    units_line: int
    first_line: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]


def text_of(head: bytes) -> tuple[str, str]:
    """(encoding, text) of a file's first bytes, which may end within a character."""
    for mark, encoding in _BOMS:
        if head.startswith(mark):
            return encoding, head[len(mark) :].decode(
                {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}.get(mark, "utf-8"),
                "ignore",
            )
    try:
        return "utf-8", codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252", head.decode("cp1252", "replace")


def shape_of(lines: Sequence[str], separators: Sequence[str] = SEPARATORS) -> Shape | None:
    """How the lines are laid out; None when they are no table.

    Args:
        separators: one character each, those that are tried.
    """
    lines = lines[:_LINES]
    found = [s for s in (_table(lines, sep) for sep in separators) if s is not None]
    if not found:
        return None
    separator, width, rows = max(found, key=lambda f: (round(len(f[2]) / len(lines), 1), -_rank(f[0])))
    pattern = _pattern([cells for _, cells in rows[len(rows) // 2 :]])
    data = [(n, cells) for n, cells in rows if _like(cells, pattern)]
    if not data:
        return None
    first = data[0][0]
    header, units = _header(lines, separator, width, first)
    columns = tuple(zip(*(cells for _, cells in data), strict=True))
    decimal, thousands = _marks(columns, separator)
    return Shape(
        separator,
        decimal,
        thousands,
        header,
        units,
        first,
        tuple(cells_of(lines[header - 1], separator)) if header else (),
        tuple(cells_of(lines[units - 1], separator)) if units else (),
        columns,
    )


def _rank(separator: str) -> int:
    return SEPARATORS.index(separator) if separator in SEPARATORS else len(SEPARATORS)


def _table(lines: Sequence[str], separator: str) -> tuple[str, int, list[tuple[int, list[str]]]] | None:
    """(separator, cells a row, the rows with so many); None when rows have one cell."""
    rows = [(n, cells_of(line, separator)) for n, line in enumerate(lines, start=1)]
    widths = Counter(len(cells) for _, cells in rows if cells)
    if not widths:
        return None
    width = widths.most_common(1)[0][0]
    return (separator, width, [(n, c) for n, c in rows if len(c) == width]) if width > 1 else None


def _is_figure(cell: str) -> bool:
    return _FIGURE.fullmatch(cell.strip()) is not None


def _pattern(rows: Sequence[Sequence[str]]) -> list[bool]:
    """Which columns mostly hold figures."""
    return [sum(map(_is_figure, column)) * 2 > len(column) for column in zip(*rows, strict=True)]


def _like(cells: Sequence[str], pattern: Sequence[bool]) -> bool:
    """Whether a row has figures where the data have them; a few may be words or missing."""
    wanted = sum(pattern)
    met = sum(p and _is_figure(c) for c, p in zip(cells, pattern, strict=True))
    return wanted > 0 and met * 2 >= wanted


def _header(lines: Sequence[str], separator: str, width: int, first: int) -> tuple[int, int]:
    """(line of names, line of units) before the first line of data; 0 for none."""
    above = [n for n in range(first - 1, 0, -1) if abs(len(cells_of(lines[n - 1], separator)) - width) <= 1]
    if not above or above[0] < first - 2:
        return 0, 0
    if len(above) > 1 and _are_units(cells_of(lines[above[0] - 1], separator)):
        return above[1], above[0]
    return above[0], 0


def _are_units(cells: Sequence[str]) -> bool:
    """Whether all cells that say something say a unit, and there is one at least."""
    said = [c.strip().strip("[]()") for c in cells if c.strip() not in ("", "-")]
    units = [s for s in said if _is_unit(s)]
    return bool(units) and all(s in units or _DATE_FORM.fullmatch(s) for s in said)


def _is_unit(text: str) -> bool:
    try:
        unit_of(text)
    except UnknownUnit:
        return False
    except WrongInput:
        return True
    return True


def _marks(columns: Sequence[Sequence[str]], separator: str) -> tuple[str, str]:
    """(decimal mark, mark of thousands)."""
    cells = [cell.strip() for column in columns for cell in column]
    grouped = Counter(m.groups() for m in map(_GROUPED.fullmatch, cells) if m)
    clear = [marks for marks, _ in grouped.most_common() if marks[0] != marks[1]]
    if clear:
        thousands, decimal = clear[0]
        return decimal, thousands
    commas = sum(_COMMA.fullmatch(c) is not None for c in cells)
    points = sum(_POINT.fullmatch(c) is not None for c in cells)
    return ("," if commas > points and separator != "," else "."), ""
