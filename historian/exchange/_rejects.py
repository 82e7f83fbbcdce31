"""Keeps what was not taken: the lines as they stand in the file, and beside them why."""

from __future__ import annotations

from pathlib import Path
from typing import TextIO

from historian.errors import StoreReadOnly
from historian.exchange._table import Row, codec_of
from historian.exchange.report import Reject

_LISTED = 1000


class Rejects:
    """Counts, lists and writes what was not taken.

    ``NAME.rejected.csv`` holds the file's first lines (the header) and then the lines that did not fit, byte
    for byte where the encoding allows: mended, it can be imported with the same mapping.
    ``NAME.rejected.txt`` says why, with line numbers. Both replace those of an earlier import when this one
    ends; without rejects, old ones are removed.

    Args:
        path: of the rejected lines; None keeps the list only.
    """

    def __init__(self, path: Path | None, encoding: str) -> None:
        self.path = path
        self._encoding = codec_of(encoding)
        self._head: list[str] = []
        self._rows: TextIO | None = None
        self._why: TextIO | None = None
        self._last_line = 0
        self.listed: list[Reject] = []
        self.count = 0

    def head(self, text: str) -> None:
        """A line that stands before the data."""
        self._head.append(text)

    def add(self, row: Row, reason: str, *, keep: bool = True) -> None:
        """A row, or a cell of it, that does not fit.

        Args:
            keep: whether the line goes to the rejected ones. One that a later line overwrites must not:
                taken in again, it would win.
        """
        self.count += 1
        if len(self.listed) < _LISTED:
            self.listed.append(Reject(row.line, reason))
        if self.path is None:
            return
        try:
            rows, why = self._files(self.path)
            if keep and row.line != self._last_line:
                rows.write(row.text + "\n")
                self._last_line = row.line
            why.write(f"line {row.line}: {reason}\n")
        except OSError as error:
            raise StoreReadOnly(f"{self.path}: cannot be written ({error}); name another file") from error

    def close(self, *, whole: bool) -> Path | None:
        """End the files; gives the path of the rejected lines when there are any.

        Args:
            whole: whether the import came to its end; otherwise what an earlier one left stays.
        """
        written = self._rows is not None
        for file in (self._rows, self._why):
            if file is not None:
                file.close()
        self._rows = self._why = None
        if self.path is None:
            return None
        for final in (self.path, reasons_of(self.path)):
            part = _part(final)
            if whole and written:
                part.replace(final)
            elif whole:
                final.unlink(missing_ok=True)
            else:
                part.unlink(missing_ok=True)
        return self.path if whole and written else None

    def _files(self, path: Path) -> tuple[TextIO, TextIO]:
        if self._rows is None or self._why is None:
            encoding, errors = self._encoding
            encoding = encoding.removesuffix("-sig")
            self._rows = _part(path).open("w", encoding=encoding, errors=errors, newline="")
            self._why = _part(reasons_of(path)).open("w", encoding="utf-8", errors="replace")
            self._rows.writelines(line + "\n" for line in self._head)
        return self._rows, self._why


def reasons_of(path: Path) -> Path:
    """The file of reasons beside a file of rejected lines."""
    return path.with_suffix(".txt")


def _part(path: Path) -> Path:
    return path.with_name(path.name + ".part")
