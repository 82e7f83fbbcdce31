"""Reads a text file of separated cells, a line at a time, so that one broken line costs one line.

A cell in quotes cannot go on over the end of a line: a stray quote would swallow the rows behind it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Final

from historian.errors import WrongInput

UNREADABLE: Final = "\ufffd"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the file.

    Attributes:
        line: its number, from 1.
        text: as it stands in the file, without its end.
        cells: its cells; none for a blank line.
    """

    line: int
    text: str
    cells: list[str]


def codec_of(encoding: str) -> tuple[str, str]:
    """(encoding, what to do with bytes that do not fit) for reading and for writing rejected lines.

    Where the encoding allows, odd bytes are kept as surrogates and are written back as they were.
    """
    low = encoding.lower().replace("_", "-")
    if low in ("utf-8", "utf8"):
        return "utf-8-sig", "surrogateescape"
    return encoding, "replace" if low.startswith(("utf-16", "utf-32")) else "surrogateescape"


def shown(text: str, most: int = 40) -> str:
    """A text from the file as it can be printed: cut, and without the surrogates of odd bytes."""
    return text[:most].encode("utf-8", "replace").decode("utf-8")


class Table:
    """The rows of a file; use it in a ``with`` block.

    Args:
        path: of the file.
        encoding: as Python names it; a byte-order mark is dropped.
        separator: one character.
    """

    def __init__(self, path: Path, encoding: str, separator: str) -> None:
        name, errors = codec_of(encoding)
        self._separator = separator
        try:
            self._bytes = path.open("rb")
            self.size = path.stat().st_size
            self._text = io.TextIOWrapper(self._bytes, encoding=name, errors=errors)
        except OSError as error:
            raise WrongInput(f"{path}: cannot be read ({error}); check the name and the rights") from error
        self.path = path

    def __enter__(self) -> Table:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._text.close()

    def done(self) -> int:
        """How many bytes have been taken from the file, of ``size``."""
        return min(self._bytes.tell(), self.size)

    def __iter__(self) -> Iterator[Row]:
        try:
            for number, line in enumerate(self._text, start=1):
                text = line.rstrip("\n")
                yield Row(number, text, cells_of(text, self._separator))
        except UnicodeError as error:
            raise WrongInput(
                f"{self.path}: is not written in {self._text.encoding} ({error}); give the right encoding"
            ) from error


def cells_of(text: str, separator: str) -> list[str]:
    """The cells of one line; a doubled quote within quotes is one quote.

    Example:
        >>> cells_of('1;"a;b";c', ";"), cells_of("  ", ";")
        (['1', 'a;b', 'c'], [])
    """
    if not text.strip() or not text.strip(separator + " "):
        return []
    if '"' not in text:
        return text.split(separator)
    try:
        return next(csv.reader((text,), delimiter=separator))
    except csv.Error:
        return text.split(separator)
