"""Reads what a header says of a column: its name, its unit, and gauge or absolute for a pressure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from historian.errors import UnknownUnit, WrongInput
from historian.units import difference_unit, unit_and_reference

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
    "t/hr": "t/h",
    "tonne/h": "t/h",
    "tonnes/h": "t/h",
    "metric ton/h": "t/h",
    "metric tons/h": "t/h",
    "short ton": "[ston_av]",
    "short tons": "[ston_av]",
    "us ton": "[ston_av]",
    "us tons": "[ston_av]",
    "short ton/h": "[ston_av]/h",
    "short tons/h": "[ston_av]/h",
    "us ton/h": "[ston_av]/h",
    "us tons/h": "[ston_av]/h",
    "long ton": "[lton_av]",
    "long tons": "[lton_av]",
    "long tons/h": "[lton_av]/h",
    "kwh": "kW.h",
    "kwh/lb": "kW.h/[lb_av]",
    "kw·h/lb": "kW.h/[lb_av]",
    "kwh/kg": "kW.h/kg",
    "sec": "s",
    "hr": "h",
    "amp": "A",
    "prozent": "%",
    "percent": "%",
}
_TONS: Final = re.compile(r"tons?(?:/(?:h|hr|hour))?|tph", re.IGNORECASE)
_DIFFERENCE: Final = re.compile(
    r"(?:[Δδ∆]|delta|diff\.?|difference) ?(?P<before>.+)|(?P<after>.+?)[ _]?(?:\(?(?:diff\.?|difference)\)?)",
    re.IGNORECASE,
)
_MESH: Final = re.compile(r"\bmesh\b", re.IGNORECASE)

MESH: Final = (
    "mesh is text: wires an inch say nothing of the opening without the weave, so it is never turned into "
    "micrometres. Leave the column out, or bring the opening in a column that says um"
)
"""What to say to a mesh number where a length is wanted."""


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
        >>> unit_of("Δ°C"), unit_of("°F diff.")
        (('K{diff}', ''), ('[degR]{diff}', ''))
    """
    plain = " ".join(text.split())
    low = plain.lower()
    if is_mesh(plain):
        raise WrongInput(MESH)
    if _TONS.fullmatch(plain):
        raise WrongInput(
            f"'{plain}' may be metric (1000 kg), short (907 kg) or long (1016 kg): write t, [ston_av] or "
            "[lton_av], with /h for a rate"
        )
    if low in _MORE:
        return _MORE[low], ""
    if match := _DIFFERENCE.fullmatch(plain):
        unit, reference = unit_of(match["before"] or match["after"])
        return difference_unit(unit), reference
    return unit_and_reference(plain)


def is_mesh(text: str) -> bool:
    """Whether a text speaks of mesh numbers.

    Example:
        >>> is_mesh("Sieb [mesh]"), is_mesh("100 mesh"), is_mesh("meshed gears")
        (True, True, False)
    """
    return _MESH.search(text) is not None


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
