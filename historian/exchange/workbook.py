"""Writes a window of a store as an Excel workbook: one sheet a machine, units in the header."""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from historian.errors import StoreReadOnly, WrongInput
from historian.exchange._window import Grid, Window, lots, side_by_side, tags_of
from historian.exchange.exporting import Progress, heading, told
from historian.quality import in_words, is_good
from historian.store import Store
from historian.tags import Tag

# A sheet's limit is 1,048,576 rows; the header takes one.
ROWS_IN_SHEET: Final = 1_048_575
# Not the name of a machine.
_QUALITY: Final = "sheet of qualities"


def export_excel(
    store: Store,
    path: Path,
    window: Window,
    *,
    zone: ZoneInfo | None = None,
    progress: Progress | None = None,
) -> int:
    """Write a window as an Excel workbook; gives the number of samples.

    One sheet a machine (the first part of the tags' paths): the time in a zone named in the header, to the
    millisecond, a column a tag. A sample without a value is an empty cell. A sheet ``quality`` lists every
    sample whose quality is not good, a sheet ``tags`` what the columns mean.

    Args:
        zone: of the times; UTC when None. Excel knows no zones, so the hour that passes twice stands twice.

    Raises:
        WrongInput: more rows than a sheet can hold, or the extra is not installed.
        UnknownTag: a path that the store does not hold.
        StoreReadOnly: the file cannot be written.
    """
    xlsxwriter = _library()
    tags = tags_of(store, window)
    part = path.with_name(path.name + ".part")
    options = {"constant_memory": True, "nan_inf_to_errors": False}
    try:
        # Opened here: the library would open its own scratch files first, and leave them open when it cannot.
        with part.open("wb") as file, closing(xlsxwriter.Workbook(file, options)) as book:
            count = _fill(_Book(book, tags, zone), store, window, progress)
        part.replace(path)
    except (OSError, xlsxwriter.exceptions.FileCreateError) as error:
        raise StoreReadOnly(f"{path}: cannot be written ({error}); name another file") from error
    finally:
        part.unlink(missing_ok=True)
    return count


def _library() -> Any:
    try:
        return importlib.import_module("xlsxwriter")
    except ImportError as error:
        raise WrongInput("Excel needs the extra 'report': pip install 'meltledger[report]'") from error


def _fill(book: _Book, store: Store, window: Window, progress: Progress | None) -> int:
    count = 0
    for found in lots(store, window):
        count += sum(len(s) for s in found.values())
        for machine, tags in book.machines.items():
            mine = {t.path: found[t.path] for t in tags}
            for grid in side_by_side(mine, list(mine)):
                book.take(machine, grid)
        told(progress, window, found)
    return count


class _Book:
    """The sheets, and the next row of each."""

    def __init__(self, book: Any, tags: list[Tag], zone: ZoneInfo | None) -> None:
        self._zone = zone or UTC
        self._date = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss.000"})
        self._bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        self.machines: dict[str, list[Tag]] = {}
        for tag in tags:
            self.machines.setdefault(tag.path.split(".")[0], []).append(tag)
        # A machine may be named as one of our own sheets.
        names = {m: f"{m}_machine" if m in ("quality", "tags") else m for m in self.machines}
        self._sheets = {
            m: self._sheet(book, names[m], [heading(t) for t in ts]) for m, ts in self.machines.items()
        }
        self._quality = self._sheet(book, "quality", ["tag", "value", "status code", "meaning"])
        self._rows = dict.fromkeys([*self.machines, _QUALITY], 1)
        self._list_tags(book.add_worksheet("tags"), tags)

    def _sheet(self, book: Any, name: str, heads: list[str]) -> Any:
        sheet = book.add_worksheet(name[:31])
        sheet.write_row(0, 0, [f"time ({self._zone_name()})", *heads], self._bold)
        sheet.freeze_panes(1, 1)
        sheet.set_column(0, 0, 23)
        sheet.set_column(1, len(heads), 16)
        return sheet

    def _zone_name(self) -> str:
        return self._zone.key if isinstance(self._zone, ZoneInfo) else "UTC"

    def take(self, machine: str, grid: Grid) -> None:
        """Write rows of a machine.

        Raises:
            WrongInput: the sheet is full.
        """
        sheet, tags = self._sheets[machine], self.machines[machine]
        doubt = grid.present & ~is_good(grid.quality)
        for k, moment in enumerate(self._moments(grid)):
            row = self._next(machine)
            sheet.write_datetime(row, 0, moment, self._date)
            for j in np.flatnonzero(~np.isnan(grid.value[k])).tolist():
                sheet.write_number(row, j + 1, float(grid.value[k, j]))
            for j in np.flatnonzero(doubt[k]).tolist():
                self._doubt(moment, tags[j], float(grid.value[k, j]), int(grid.quality[k, j]))

    def _doubt(self, moment: datetime, tag: Tag, value: float, quality: int) -> None:
        row = self._next(_QUALITY)
        self._quality.write_datetime(row, 0, moment, self._date)
        self._quality.write_string(row, 1, tag.path)
        if not np.isnan(value):
            self._quality.write_number(row, 2, value)
        self._quality.write_string(row, 3, f"0x{quality:08X}")
        self._quality.write_string(row, 4, in_words(quality))

    def _next(self, sheet: str) -> int:
        row = self._rows[sheet]
        if row > ROWS_IN_SHEET:
            raise WrongInput(
                f"the sheet '{sheet}' would have more than {ROWS_IN_SHEET:,} rows: take a shorter window, "
                "an aggregate, or Parquet"
            )
        self._rows[sheet] = row + 1
        return row

    def _moments(self, grid: Grid) -> Iterator[datetime]:
        """Local times without a zone, to the millisecond: what Excel can hold."""
        zero = datetime(1970, 1, 1, tzinfo=UTC)
        for ms in (grid.time_ns // 1_000_000).tolist():
            yield (zero + timedelta(milliseconds=ms)).astimezone(self._zone).replace(tzinfo=None)

    def _list_tags(self, sheet: Any, tags: list[Tag]) -> None:
        sheet.write_row(0, 0, ["tag", "unit", "reference", "kind", "meaning", "codes"], self._bold)
        sheet.set_column(0, 5, 24)
        for row, tag in enumerate(tags, start=1):
            codes = ", ".join(f"{k} = {w}" for k, w in tag.codes.items())
            for column, text in enumerate(
                (tag.path, tag.unit, tag.reference, str(tag.kind), tag.text, codes)
            ):
                sheet.write_string(row, column, text)
