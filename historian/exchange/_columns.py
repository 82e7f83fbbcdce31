"""Proposes the tag of a column from its heading, its unit and its cells."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from historian.catalogue import CATALOGUE, Meaning, meaning_of
from historian.errors import WrongInput
from historian.exchange._numbers import NumberForm, read_column
from historian.exchange._shape import Shape
from historian.exchange._written import heading_of, is_mesh, unit_of
from historian.tags import TagKind, check_path
from historian.units import PRESSURES, conversion

# fmt: off
BAD_CELLS: Final = frozenset({
    "---", "--", "-", "NaN", "nan", "NAN", "OVER", "OL", "-OL", "####", "#####", "Err", "ERR", "Error", "N/A",
    "n/a", "UNDER", "OVF", "BURNOUT", "*****", "+++++", "-----",
})
# fmt: on
_SWITCHES: Final = (
    ("off", "on"),
    ("false", "true"),
    ("no", "yes"),
    ("aus", "ein"),
    ("nein", "ja"),
    ("no", "sí"),
    ("no", "si"),
    ("non", "oui"),
    ("stop", "run"),
    ("stopped", "running"),
    ("closed", "open"),
    ("zu", "auf"),
    ("paro", "marcha"),
)
# What panels write in other words or tongues for those of the catalogue.
_WORDS: Final = {
    "temperature": "temp", "temperatur": "temp", "temperatura": "temp", "druck": "pressure",
    "press": "pressure",
    "presión": "pressure", "presion": "pressure", "pressione": "pressure", "drehzahl": "speed",
    "rpm": "speed",
    "velocidad": "speed", "drehmoment": "torque", "leistung": "power", "strom": "current",
    "zona": "zone", "schmelze": "melt", "masse": "melt", "fundido": "melt", "schnecke": "screw",
    "husillo": "screw",
    "pumpe": "pump", "bomba": "pump", "filtro": "filter", "siebwechsler": "filter", "extrusor": "extruder",
    "durchsatz": "throughput", "caudal": "flow", "setpoint": "sp", "soll": "sp", "sollwert": "sp",
    "sollw": "sp", "consigna": "sp", "ist": "pv", "istwert": "pv", "actual": "pv",
    "before": "inlet", "after": "outlet", "vor": "inlet", "nach": "outlet", "upstream": "inlet",
    "downstream": "outlet", "screen": "filter", "sieb": "filter", "plates": "plate",
    "entrada": "inlet", "salida": "outlet", "eingang": "inlet", "ausgang": "outlet", "einlass": "inlet",
    "diff": "dp", "massetemperatur": "melt temp", "schmelzetemperatur": "melt temp",
    "massedruck": "melt pressure", "schmelzedruck": "melt pressure", "schneckendrehzahl": "screw speed",
    "pumpendrehzahl": "pump speed", "motorstrom": "drive current",
}  # fmt: skip
_IDLE: Final = frozenset(
    {"the", "at", "of", "der", "die", "das", "de", "del", "la", "el", "pv", "value", "in", "a"}
)


@dataclass(frozen=True, slots=True)
class Found:
    """What one column may be.

    Attributes:
        name: its heading.
        section: keys of a mapping's ``[[column]]``; None when it is left out.
        doubts: what to confirm, or why it is left out.
    """

    name: str
    section: dict[str, Any] | None
    doubts: tuple[str, ...] = ()


def column_of(name: str, unit: str, cells: Sequence[str], shape: Shape, taken: set[str]) -> Found:
    """What a column may be.

    Args:
        name, unit: from the header and the line of units.
        taken: paths that other columns have.
    """
    if is_mesh(unit) or (is_mesh(name) and not (heading_of(name).unit or unit)):
        return Found(name, None, (f"left out: '{name}': mesh is text and is never turned into micrometres",))
    said = [c.strip() for c in cells if c.strip()]
    if any(map(is_mesh, said)):
        return Found(name, None, (f"left out: '{name}': mesh is text and is never turned into micrometres",))
    if not said:
        return Found(name, None, (f"left out: '{name}' is empty in the rows looked at",))
    words = words_of(said)
    form = NumberForm(shape.decimal, shape.thousands, BAD_CELLS)
    misfits = read_column(said, form, words).misfits
    if len(misfits) * 10 > len(said):
        example = said[next(iter(misfits))][:30]
        return Found(name, None, (f"left out: '{name}' is text, such as '{example}'",))
    doubts: list[str] = []
    code, reference = _unit(name, unit, doubts)
    path = _path(heading_of(name).name, code, bool(words), taken, doubts)
    section: dict[str, Any] = {"tag": path}
    if words:
        section["words"] = {w: int(v) for w, v in words.items()}
        if meaning_of(path) is None:
            section["kind"] = TagKind.BOOLEAN
    _say_unit(section, path, unit, code, bool(words), doubts)
    _say_reference(section, path, code, reference, doubts)
    return Found(name, section, tuple(doubts))


def words_of(said: Sequence[str]) -> dict[str, float]:
    """The words of a switch, when nearly all cells are such words.

    Example:
        >>> words_of(["Ein", "Aus", "Ein"]), words_of(["1", "0"])
        ({'aus': 0.0, 'ein': 1.0}, {})
    """
    low = Counter(c.casefold() for c in said)
    best = max(_SWITCHES, key=lambda pair: low[pair[0]] + low[pair[1]])
    if (low[best[0]] + low[best[1]]) * 10 >= 9 * len(said):
        return {best[0]: 0.0, best[1]: 1.0}
    return {}


def _unit(name: str, written: str, doubts: list[str]) -> tuple[str, str]:
    head = heading_of(name)
    plain = written.strip().strip("[]()") if not written.endswith("(g)") else written
    if head.unit or plain in ("", "-"):
        return head.unit, head.reference
    try:
        return unit_of(plain)
    except WrongInput as error:
        doubts.append(str(error))
        return "", ""


def _path(name: str, unit: str, switch: bool, taken: set[str], doubts: list[str]) -> str:
    """A path of the catalogue where the words meet one, otherwise one of the column's own."""
    try:
        if check_path(name) not in taken:
            return name
    except WrongInput:
        pass
    near = _nearest(name, unit, switch, taken)
    if len(near) == 1:
        doubts.append(f"'{name}' is taken as {near[0]}")
        return near[0]
    plain = unicodedata.normalize("NFKD", name.lower()).encode("ascii", "ignore").decode()
    slug = re.sub(r"[^a-z0-9]+", "_", plain).strip("_") or "column"
    path = f"panel.{slug}.{'state' if switch else 'pv'}"
    number = 2
    while path in taken:
        path = f"panel.{slug}_{number}.{'state' if switch else 'pv'}"
        number += 1
    said = f"may be {' or '.join(near[:4])}" if near else "meets no tag of the catalogue"
    doubts.append(f"'{name}' {said}: {path} is a name of its own")
    return path


def _tokens(text: str) -> list[str]:
    parts = re.findall(r"[^\W\d_]+|\d+", text.lower())
    return [t for p in parts for t in _WORDS.get(p, p).split() if t not in _IDLE]


def _nearest(name: str, unit: str, switch: bool, taken: set[str]) -> list[str]:
    """The paths that hold as many of the name's words as any; none when too few are met."""
    tokens = _tokens(name)
    words, numbers = [t for t in tokens if not t.isdigit()], [t for t in tokens if t.isdigit()]
    if not words:
        return []
    scored: list[tuple[int, int, str]] = []
    for pattern, meaning in CATALOGUE.items():
        if ("*" in pattern) != (len(numbers) == 1) or not _may_be(meaning, unit, switch):
            continue
        if ("sp" in words) != (pattern.endswith(".sp")):
            continue
        own = set(_tokens(f"{pattern} {meaning.text}"))
        met = sum(w in own for w in words)
        path = pattern.replace("*", numbers[0]) if numbers else pattern
        if met * 4 >= len(words) * 3 and path not in taken:
            scored.append((-met, len(own), path))
    scored.sort()
    best = [(own, path) for met, own, path in scored if met == scored[0][0]]
    machines = {path.split(".")[0] for _, path in best}
    # Within one machine the plainest name is meant; between machines only a person can tell.
    return [best[0][1]] if len(machines) == 1 else [path for _, path in best]


def _may_be(meaning: Meaning, unit: str, switch: bool) -> bool:
    if switch != (meaning.kind is TagKind.BOOLEAN):
        return False
    if switch or not unit:
        return switch
    try:
        conversion(unit, meaning.unit)
    except WrongInput:
        return False
    return True


def _say_unit(
    section: dict[str, Any], path: str, written: str, code: str, switch: bool, doubts: list[str]
) -> None:
    meaning = meaning_of(path)
    if code:
        section["unit"] = code
    elif not switch and not (meaning and meaning.kind in (TagKind.BOOLEAN, TagKind.CODE)):
        section["unit"] = meaning.unit if meaning else "1"
        shown = f"the unit '{written}' is not known" if written else "the file says no unit"
        doubts.append(f"{shown}: {section['unit']} is put")


def _say_reference(section: dict[str, Any], path: str, code: str, reference: str, doubts: list[str]) -> None:
    if code not in PRESSURES:
        return
    meaning, measured = meaning_of(path), meaning_of(path.rpartition(".")[0] + ".pv")
    wanted = next((m.reference for m in (meaning, measured) if m and m.reference), "")
    if reference:
        section["reference"] = reference
    elif wanted or meaning is None:
        section["reference"] = wanted or "gauge"
        doubts.append(f"the file does not say gauge or absolute: {section['reference']} is put")
