"""The user's own table of machines: a name and a screen area each, from a TOML or a CSV file.

TOML has one ``[[size]]`` with ``name`` and ``area`` for each machine; CSV has a first line that names the
columns ``name`` and ``area``, with comma or semicolon between them. Areas are written with their unit.
"""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any

from historian.errors import WrongInput
from historian.places import line_of
from historian.units import quantity

_MOST_CM2 = 1e6
_LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class Size:
    """One machine of the table.

    Attributes:
        name: as the user wrote it.
        area_cm2: of its screen through which melt flows.
    """

    name: str
    area_cm2: float


def read_sizes(path: Path) -> tuple[Size, ...]:
    """The machines of a file, the smallest first.

    Raises:
        WrongInput: with each bad row, its line and what to do.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise WrongInput(
            f"{path}: there is no such file; see docs/scale-up.md for how to write one"
        ) from error
    except (OSError, UnicodeDecodeError) as error:
        raise WrongInput(f"{path}: cannot be read as UTF-8 text ({error})") from error
    return sizes_of_text(text, str(path))


def sizes_of_text(text: str, where: str) -> tuple[Size, ...]:
    """The machines of a text, the smallest first.

    Args:
        where: name of its file; a name that ends in ".toml" is read as TOML, any other as CSV.

    Raises:
        WrongInput: with each bad row, its line and what to do.

    Example:
        >>> [s.name for s in sizes_of_text("name;area\\nM;2400 cm2\\nS;0.118 m2\\n", "sizes.csv")]
        ['S', 'M']
    """
    rows = _toml_rows(text, where) if where.lower().endswith(".toml") else _csv_rows(text, where)
    sizes: list[Size] = []
    faults: list[str] = []
    first_line: dict[str, int] = {}
    for line, name, area in rows:
        found = _size(name, area)
        if isinstance(found, str):
            faults.append(f"{where}:{line}: {found}")
        elif found.name in first_line:
            before = first_line[found.name]
            faults.append(
                f"{where}:{line}: '{found.name}' stands in line {before} already; give it another name"
            )
        else:
            first_line[found.name] = line
            sizes.append(found)
    if faults:
        raise WrongInput("\n".join(faults))
    if not sizes:
        raise WrongInput(f"{where}: there is no machine in it; write one row with name and area for each")
    return tuple(sorted(sizes, key=lambda s: (s.area_cm2, s.name)))


def _size(name: Any, area: Any) -> Size | str:
    """A machine, or what is wrong with its row and what to do."""
    named = name.strip() if isinstance(name, str) else ""
    if not named or len(named) > _LONGEST_NAME or not named.isprintable():
        return f"a machine has no name; give it one of at most {_LONGEST_NAME} letters"
    if not isinstance(area, str) or not area.strip():
        return f"'{named}' has no area; write it with its unit, as text: \"1240 cm2\""
    try:
        cm2 = quantity(area, "cm2")
    except WrongInput as error:
        return f"the area of '{named}': {error}"
    if not isfinite(cm2) or not 0 < cm2 <= _MOST_CM2:
        return f"the area of '{named}' is {area.strip()[:40]}: no screen has that; mend the number or unit"
    return Size(named, cm2)


def _toml_rows(text: str, where: str) -> Iterator[tuple[int, Any, Any]]:
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise WrongInput(f"{where}: {error}; mend the syntax there") from error
    extra = [key for key in raw if key != "size"]
    if extra:
        raise WrongInput(
            f"{where}:{line_of(text, (extra[0],))}: there is no key '{extra[0][:40]}'; "
            "write one [[size]] for each machine"
        )
    listed = raw.get("size", [])
    if not isinstance(listed, list):
        raise WrongInput(f"{where}:{line_of(text, ('size',))}: write [[size]] with two brackets for each")
    for place, row in enumerate(listed):
        line = line_of(text, ("size", place))
        if not isinstance(row, dict):
            raise WrongInput(f"{where}:{line}: write [[size]] with name and area for each machine")
        for key in row:
            if key not in ("name", "area"):
                raise WrongInput(
                    f"{where}:{line_of(text, ('size', place, key))}: there is no key '{key[:40]}'; "
                    "a machine has name and area"
                )
        yield line, row.get("name"), row.get("area")


def _csv_rows(text: str, where: str) -> Iterator[tuple[int, Any, Any]]:
    first = text.partition("\n")[0]
    separator = ";" if ";" in first else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    columns: list[str] | None = None
    try:
        for cells in reader:
            if not any(c.strip() for c in cells):
                continue
            if columns is None:
                columns = [c.strip().lower() for c in cells]
                if sorted(columns) != ["area", "name"]:
                    raise WrongInput(
                        f"{where}:{reader.line_num}: the first line names the columns: name{separator}area"
                    )
                continue
            if len(cells) > 2 and any(c.strip() for c in cells[2:]):
                # A decimal comma beside a comma as separator ends here.
                yield reader.line_num, "", None
                continue
            row = dict(zip(columns, cells, strict=False))
            yield reader.line_num, row.get("name"), row.get("area")
    except csv.Error as error:
        raise WrongInput(f"{where}:{reader.line_num}: {error}; mend the quotes there") from error
