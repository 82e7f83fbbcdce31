"""Looks at a file and proposes its mapping: what is not sure is said in comments, for a person to confirm."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from historian.errors import WrongInput
from historian.exchange._columns import BAD_CELLS, Found, column_of
from historian.exchange._samples import is_status_code
from historian.exchange._shape import Shape
from historian.exchange._stamps import StampGuess
from historian.exchange._toml import mapping_lines
from historian.exchange._written import heading_of
from historian.exchange.layout import layout_of
from historian.exchange.loading import read_mapping
from historian.exchange.mapping import CsvMapping, check_zone


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mapping that may fit a file.

    Attributes:
        mapping: ready to be tried in a dry run.
        text: the same as TOML, with what to confirm in comments.
        doubts: what to confirm, one sentence each.
    """

    mapping: CsvMapping
    text: str
    doubts: tuple[str, ...]


def guess_mapping(path: Path, *, zone: str) -> Proposal:
    """Propose a mapping for a file.

    Args:
        path: of the file; its first quarter of a megabyte is looked at.
        zone: of the logger's clock, which no file says.

    Raises:
        WrongInput: the file cannot be read, no column of times is found in it, or the zone is not known.
    """
    check_zone(zone)
    layout = layout_of(path)
    if layout.stamp is None:
        raise WrongInput(f"{path}: no column of times is found; write the mapping by hand")
    return _proposal(path, layout.encoding, layout.shape, layout.stamp, zone)


def _proposal(path: Path, encoding: str, shape: Shape, stamp: StampGuess, zone: str) -> Proposal:
    doubts = list(stamp.doubts)
    if not stamp.utc:
        doubts.append(
            f"the times are taken as local time in {zone}; a logger may be left on winter time all year"
        )
    long = _long_of(shape, stamp)
    found = _long_columns(shape, long) if long else _wide_columns(shape, stamp)
    qualities = _qualities_of(shape, long, doubts)
    columns = [f for f in found if f.section is not None]
    if not columns:
        raise WrongInput(f"{path}: no column of numbers is found beside the time; write the mapping by hand")
    mapping = _mapping(encoding, shape, stamp, zone, long, columns, qualities)
    notes = {k: "; ".join(f.doubts) for k, f in enumerate(columns) if f.doubts}
    left_out = [d for f in found if f.section is None for d in f.doubts]
    every = (*doubts, *(f"{f.name}: {d}" for f in columns for d in f.doubts), *left_out)
    head = [f"# Proposed for {path.name}. Confirm each remark, then try it with a dry run.", ""]
    head += [f"# {d}" for d in (*doubts, *left_out)]
    text = "\n".join([*head, "", *mapping_lines(mapping, notes)])
    return Proposal(read_mapping(text, where="the proposal"), text, every)


def _mapping(
    encoding: str,
    shape: Shape,
    stamp: StampGuess,
    zone: str,
    long: dict[str, Any] | None,
    columns: list[Found],
    qualities: dict[str, str],
) -> CsvMapping:
    return CsvMapping.model_validate(
        {
            "file": {
                "separator": shape.separator,
                "decimal": shape.decimal,
                "thousands": shape.thousands,
                "encoding": encoding,
                "header_line": shape.header_line,
                "units_line": shape.units_line,
                "first_line": shape.first_line,
                "form": "long" if long else "wide",
                "bad": sorted({c.strip() for col in shape.columns for c in col} & BAD_CELLS),
            },
            "time": {
                "columns": [_column_name(shape, k) for k in stamp.places],
                "format": stamp.form,
                "zone": zone,
            },
            "long": long,
            "qualities": qualities,
            "column": [f.section for f in columns],
        }
    )


def _column_name(shape: Shape, place: int) -> str | int:
    name = shape.names[place].strip() if place < len(shape.names) else ""
    return name if name and shape.names.count(shape.names[place]) == 1 else place + 1


def _wide_columns(shape: Shape, stamp: StampGuess) -> list[Found]:
    found: list[Found] = []
    taken: set[str] = set()
    same = [heading_of(n).name.casefold() for n in shape.names]
    for k, cells in enumerate(shape.columns):
        if k in stamp.places:
            continue
        name = shape.names[k].strip() if k < len(shape.names) else ""
        unit = shape.units[k].strip() if k < len(shape.units) else ""
        one = column_of(name or f"column {k + 1}", unit, cells, shape, taken)
        if one.section is not None:
            where: dict[str, Any] = {"number": k + 1}
            if isinstance(_column_name(shape, k), str):
                short = heading_of(name).name
                where = {"name": name if same.count(short.casefold()) > 1 else short}
            one.section.update(where)
            taken.add(one.section["tag"])
        found.append(one)
    return found


_NAMES = {"tag", "name", "variable", "varname", "channel", "signal", "parameter", "kanal", "point", "item"}
_VALUES = {"value", "varvalue", "wert", "valor", "valeur", "reading"}
_UNITS = {"unit", "units", "einheit", "unidad", "unité"}
_QUALITIES = {"quality", "status", "qualität", "validity", "calidad"}


def _long_of(shape: Shape, stamp: StampGuess) -> dict[str, Any] | None:
    """Where the parts of a long form stand; None for a wide one."""
    heads = [n.strip().casefold() for n in shape.names]
    places = {
        part: next((k for k, h in enumerate(heads) if h in words and k not in stamp.places), -1)
        for part, words in (("name", _NAMES), ("value", _VALUES), ("unit", _UNITS), ("quality", _QUALITIES))
    }
    if places["name"] < 0 or places["value"] < 0:
        return None
    return {part: _column_name(shape, k) for part, k in places.items() if k >= 0}


_LEVELS = {
    "good": {"good", "ok", "gut", "valid", "bueno", "buena", "bien", "bon", "g"},
    "uncertain": {"uncertain", "doubtful", "unsicher", "dudoso", "suspect", "u"},
    "bad": {"bad", "fault", "error", "invalid", "schlecht", "malo", "mala", "fail", "b"},
}


def _qualities_of(shape: Shape, long: dict[str, Any] | None, doubts: list[str]) -> dict[str, str]:
    """What the words of the quality column may mean; status codes need no saying."""
    if long is None or "quality" not in long:
        return {}
    place = _place(shape, long["quality"])
    words = Counter(w for c in shape.columns[place] if (w := c.strip()))
    if all(w.lower().startswith("0x") or (w.isdigit() and is_status_code(int(w))) for w in words):
        return {}
    level = {w: next((q for q, known in _LEVELS.items() if w.casefold() in known), "") for w in words}
    unsure = [w for w in words if not level[w]]
    if unsure:
        most = max(words, key=lambda w: words[w])
        level |= {w: "good" if w == most else "uncertain" for w in unsure}
        said = ", ".join(f"{w} as {level[w]}" for w in unsure)
        doubts.append(f"the file does not say what its qualities mean; they are taken so: {said}")
    return level


def _place(shape: Shape, column: str | int) -> int:
    return shape.names.index(column) if isinstance(column, str) else column - 1


def _long_columns(shape: Shape, long: dict[str, Any]) -> list[Found]:
    place = {part: _place(shape, n) for part, n in long.items()}
    cells: dict[str, list[str]] = {}
    units: dict[str, str] = {}
    for k, name in enumerate(shape.columns[place["name"]]):
        cells.setdefault(name.strip(), []).append(shape.columns[place["value"]][k])
        if "unit" in place:
            units.setdefault(name.strip(), shape.columns[place["unit"]][k].strip())
    found: list[Found] = []
    taken: set[str] = set()
    for name, values in cells.items():
        one = column_of(name, units.get(name, ""), values, shape, taken)
        if one.section is not None:
            one.section["name"] = name
            taken.add(one.section["tag"])
        found.append(one)
    return found
