"""Reads what a header says of a column: its name, its unit, and gauge or absolute for a pressure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from historian.errors import UnknownUnit, WrongInput
from historian.units import ucum

_REFERENCES: Final = {"g": "gauge", "gauge": "gauge", "ü": "gauge", "a": "absolute", "abs": "absolute"}
_PRESSURES: Final = {
    "bar": "bar",
    "mbar": "mbar",
    "pa": "Pa",
    "kpa": "kPa",
    "mpa": "MPa",
    "psi": "[psi]",
    "[psi]": "[psi]",
}
_WITH_REFERENCE = re.compile(r"(m?bar|[km]?pa|psi|\[psi\])[ _]*\(?(gauge|g|ü|abs|a)\.?\)?", re.IGNORECASE)
_BRACKETS = re.compile(r"^(?P<name>.*?)\s*(?:\[(?P<square>.*)\]|\((?P<round>[^()]*(?:\([^()]*\))?)\))\s*$")
_AFTER = re.compile(r"^(?P<name>.+?)\s*(?:[,/;]\s+|\s+in\s+|_)(?P<unit>\S+)$")

# What panels write beyond the names that the store's units know.
_MORE: Final = {
    "°c": "Cel",
    "deg c": "Cel",
    "deg. c": "Cel",
    "grad c": "Cel",
    "deg f": "[degF]",
    "u/min": "/min",
    "upm": "/min",
    "tr/min": "/min",
    "kg/hr": "kg/h",
    "lbs": "[lb_av]",
    "lbs/h": "[lb_av]/h",
    "lb/hr": "[lb_av]/h",
    "lbs/hr": "[lb_av]/h",
    "tonne": "t",
    "tonnes": "t",
    "metric ton": "t",
    "metric tons": "t",
    "short ton": "[ston_av]",
    "short tons": "[ston_av]",
    "us ton": "[ston_av]",
    "sec": "s",
    "hr": "h",
    "amp": "A",
    "prozent": "%",
    "percent": "%",
}
_TONS: Final = {"ton", "tons", "ton/h", "tons/h", "tph"}


@dataclass(frozen=True, slots=True)
class Heading:
    """What a header's cell says.

    Attributes:
        name: without the unit.
        unit: UCUM code; empty when the cell names none.
        reference: ``gauge``, ``absolute`` or empty.
    """

    name: str
    unit: str = ""
    reference: str = ""


def unit_of(text: str) -> tuple[str, str]:
    """(UCUM code, reference) of a written unit.

    Raises:
        UnknownUnit: not on the list.
        WrongInput: a mesh number, which is text, or a ton of which nobody says which.

    Example:
        >>> unit_of("bar(g)"), unit_of("psia"), unit_of("lb/h")
        (('bar', 'gauge'), ('[psi]', 'absolute'), ('[lb_av]/h', ''))
    """
    plain = " ".join(text.split())
    low = plain.lower()
    if "mesh" in low.split():
        raise WrongInput(
            "mesh is text: wires an inch say nothing of the opening without the weave, so it is never turned "
            "into micrometres. Leave the column out, or give the opening in um"
        )
    if low in _TONS:
        raise WrongInput(f"'{plain}' may be a metric or a short ton: write t or [ston_av]")
    if match := _WITH_REFERENCE.fullmatch(plain):
        return _PRESSURES[match.group(1).lower()], _REFERENCES[match.group(2).lower()]
    if low in _MORE:
        return _MORE[low], ""
    return ucum(plain), ""


def heading_of(cell: str) -> Heading:
    """What a header's cell says; a unit is taken only where it is known, otherwise all of it is the name.

    Example:
        >>> heading_of("Melt pressure [bar(g)]")
        Heading(name='Melt pressure', unit='bar', reference='gauge')
        >>> heading_of("Zone 3 (upper)")
        Heading(name='Zone 3 (upper)', unit='', reference='')
    """
    plain = " ".join(cell.split())
    match = _BRACKETS.match(plain)
    written = (match.group("square") or match.group("round")) if match else None
    if match is None or not written:
        match = _AFTER.match(plain)
        written = match.group("unit") if match else None
    if match is None or not written or not match.group("name"):
        return Heading(plain)
    try:
        unit, reference = unit_of(written)
    except (UnknownUnit, WrongInput):
        return Heading(plain)
    return Heading(match.group("name").strip(), unit, reference)
