"""How a text file of separated cells is laid out, and where its times stand: for samples and for lists."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from historian.errors import WrongInput
from historian.exchange._clock import Times, stamp_reader, to_utc
from historian.exchange._shape import SEPARATORS, Shape, shape_of, text_of
from historian.exchange._stamps import StampGuess, stamp_of
from historian.exchange._survey import data_rows
from historian.exchange._table import Row, Table

LOOKED_AT = 256 * 1024


@dataclass(frozen=True, slots=True)
class Layout:
    """What was found of a file's layout.

    Attributes:
        encoding: as Python names it.
        shape: separator, header, first line of data, and the cells looked at.
        stamp: where the time stands; None when no column can be read as times.
    """

    encoding: str
    shape: Shape
    stamp: StampGuess | None


def layout_of(path: Path, separator: str = "") -> Layout:
    """How a file is laid out; its first quarter of a megabyte is looked at.

    Args:
        separator: of the cells, when it is known.

    Raises:
        WrongInput: the file cannot be read, or holds no rows of separated cells.
    """
    try:
        with path.open("rb") as file:
            head = file.read(LOOKED_AT)
            whole = not file.read(1)
    except OSError as error:
        raise WrongInput(f"{path}: cannot be read ({error}); check the name and the rights") from error
    encoding, text = text_of(head)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    shape = shape_of(lines if whole or len(lines) < 2 else lines[:-1], separator or SEPARATORS)
    if shape is None:
        raise WrongInput(f"{path}: no rows of separated cells are found; write the mapping by hand")
    return Layout(encoding, shape, stamp_of(shape.columns))


def rows_in(path: Path, encoding: str, separator: str, first_line: int) -> Iterator[Row]:
    """The rows of data of a file, blank ones left out.

    Raises:
        WrongInput: the file cannot be read, or is not written in that encoding.
    """
    with Table(path, encoding, separator) as table:
        yield from data_rows(table, first_line)


@dataclass(frozen=True, slots=True)
class ReadTimes:
    """Stamps as times.

    Attributes:
        time_ns: UTC nanoseconds, 0 where a stamp cannot be read, shape (n,).
        read: whether it could be read and does exist in the zone, shape (n,).
        doubtful: in the hour that passes twice, and the order does not say which, shape (n,).
    """

    time_ns: Times
    read: NDArray[np.bool_]
    doubtful: NDArray[np.bool_]


def read_times(stamps: Sequence[str], form: str, zone: str) -> ReadTimes:
    """Stamps in the order of a file as UTC.

    Args:
        form: as ``stamp_reader`` takes it.
        zone: IANA name, of those that do not say their offset themselves.

    Raises:
        WrongInput: the form is none.

    Example:
        >>> read_times(["1970-01-01 01:00:01", "x"], "iso", "Europe/Madrid").time_ns.tolist()
        [1000000000, 0]
    """
    reader = stamp_reader(form)
    found = [reader(text) for text in stamps]
    time_ns = np.array([0 if s is None else s[0] for s in found], np.int64)
    read = np.array([s is not None for s in found], np.bool_)
    local = np.flatnonzero([s is not None and not s[1] for s in found])
    doubtful = np.zeros(len(found), np.bool_)
    if len(local):
        resolved = to_utc(time_ns[local], ZoneInfo(zone), "order", np.zeros(len(local), np.int32))
        time_ns[local], read[local] = resolved.time_ns, ~resolved.missing
        doubtful[local] = resolved.doubtful
    return ReadTimes(np.where(read, time_ns, 0), read, doubtful)
