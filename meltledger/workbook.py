"""Writes tables as an Excel workbook: headers frozen, columns as wide as they need, times in UTC."""

from __future__ import annotations

import importlib
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from historian.errors import StoreReadOnly, WrongInput

_WIDEST: Final = 48
_NARROWEST: Final = 8

Cell = str | int | float | bool | datetime | None
"""What a cell may hold; a time has its zone, and is written in UTC without one: Excel knows no zones."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One table.

    Attributes:
        columns: headings.
        rows: each as long as the headings; None is an empty cell.
    """

    columns: Sequence[str]
    rows: Sequence[Sequence[Cell]]


def write_workbook(path: Path, sheets: Mapping[str, Sheet]) -> None:
    """Write one sheet a table; the file has its name only when it is whole.

    Args:
        sheets: name → table, at least one.

    Raises:
        WrongInput: the extra is not installed.
        StoreReadOnly: the file cannot be written.
    """
    try:
        xlsxwriter: Any = importlib.import_module("xlsxwriter")
    except ImportError as error:
        raise WrongInput("Excel needs the extra 'report': pip install 'meltledger[report]'") from error
    part = path.with_name(path.name + ".part")
    try:
        with part.open("wb") as file, closing(xlsxwriter.Workbook(file)) as book:
            for name, sheet in sheets.items():
                _fill(book, name, sheet)
        part.replace(path)
    except OSError as error:
        raise StoreReadOnly(f"{path}: cannot be written ({error}); name another file") from error
    finally:
        part.unlink(missing_ok=True)


def _fill(book: Any, name: str, sheet: Sheet) -> None:
    page = book.add_worksheet(name[:31])
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
    text = book.add_format({"text_wrap": True, "valign": "top"})
    time = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss", "valign": "top"})
    page.write_row(0, 0, sheet.columns, head)
    page.freeze_panes(1, 1)
    for column, heading in enumerate(sheet.columns):
        longest = max((len(_shown(r[column])) for r in sheet.rows), default=0)
        page.set_column(column, column, min(max(longest, len(heading), _NARROWEST) + 2, _WIDEST))
    for number, row in enumerate(sheet.rows, start=1):
        for column, cell in enumerate(row):
            if isinstance(cell, datetime):
                page.write_datetime(number, column, cell.astimezone(UTC).replace(tzinfo=None), time)
            elif isinstance(cell, bool):
                page.write_boolean(number, column, cell, text)
            elif isinstance(cell, int | float):
                page.write_number(number, column, cell, text)
            elif cell is not None:
                # Never as a formula, whatever the words begin with.
                page.write_string(number, column, cell, text)
    page.autofilter(0, 0, max(len(sheet.rows), 1), len(sheet.columns) - 1)


def _shown(cell: Cell) -> str:
    return "0000-00-00 00:00:00" if isinstance(cell, datetime) else "" if cell is None else str(cell)
