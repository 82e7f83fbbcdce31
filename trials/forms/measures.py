"""What is measured of a material, of pellets and of what was discharged; each with its unit and what can be.

Pure. The bounds say what cannot be, not what is good: a value beyond them is a slip of the pen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite
from typing import Final

from historian.errors import UnitMismatch, UnknownUnit, WrongInput
from historian.units import conversion, shown_unit


class Of(StrEnum):
    """What it is measured of."""

    FEED = "feed"
    PELLETS = "pellets"
    DISCHARGE = "discharge"


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing that is measured.

    Attributes:
        text: for a person.
        unit: UCUM code in which it is kept.
        least, most: what can be, in that unit.
        of: what it is measured of.
        asks: keys of the form that must be told beside it, as temperature and load of a melt flow rate.
        source: the standard that says how it is measured; empty where there is none that is meant.
    """

    text: str
    unit: str
    least: float
    most: float
    of: frozenset[Of]
    asks: tuple[str, ...] = ()
    source: str = ""


_FEED, _PELLETS, _DISCHARGE = frozenset({Of.FEED}), frozenset({Of.PELLETS}), frozenset({Of.DISCHARGE})
_BOTH, _ALL = _FEED | _PELLETS, _FEED | _PELLETS | _DISCHARGE

MEASURES: Final[Mapping[str, Measure]] = {
    "bulk-density": Measure("bulk density", "kg/m3", 5, 3000, _BOTH, source="ISO 60, ISO 61"),
    "moisture": Measure("moisture", "%", 0, 100, _BOTH, ("method",), "ISO 15512"),
    "melt-flow-rate": Measure(
        "melt flow rate", "g/(10.min)", 0.001, 3000, _BOTH, ("temperature", "load"), "ISO 1133-1"
    ),
    "ash": Measure("ash", "%", 0, 100, _ALL, ("method",), "ISO 3451-1"),
    "filterable-dirt": Measure("dirt that a screen holds back", "%", 0, 100, _FEED | _DISCHARGE),
    "melting-peak": Measure("melting peak", "Cel", -100, 450, _BOTH, ("method",), "ISO 11357-3"),
    "other-polymer": Measure("another polymer", "%", 0, 100, _BOTH, ("method",)),
    "density": Measure("density", "kg/m3", 500, 3000, _BOTH, source="ISO 1183-1"),
    "metal": Measure("metal", "%", 0, 100, _FEED | _DISCHARGE),
    "length": Measure("pellet length", "mm", 0.05, 100, _PELLETS),
    "mass-of-ten": Measure("mass of ten pellets", "mg", 0.1, 100_000, _PELLETS),
    "tails": Measure("pellets with tails", "%", 0, 100, _PELLETS),
    "agglomerates": Measure("pellets that stick together", "%", 0, 100, _PELLETS),
    "fines": Measure("fines", "%", 0, 100, _PELLETS),
    "specks": Measure("specks in 100 g of film", "1", 0, 1e6, _PELLETS),
    "contaminant-share": Measure("share of dirt in what was discharged", "%", 0, 100, _DISCHARGE),
}
"""Bounds: what cannot be, derived here; the standards are named from memory."""


def kept_value(what: str, value: float, unit: str, of: Of) -> float:
    """A measured value in the unit in which it is kept.

    Raises:
        WrongInput: it is not measured of that, or cannot be; naming what can.

    Example:
        >>> kept_value("bulk-density", 0.29, "g/cm3", Of.FEED)
        290.0
    """
    measure = measure_of(what)
    if of not in measure.of:
        known = ", ".join(sorted(measure.of))
        raise WrongInput(f"{measure.text} is not measured of {of}; of: {known}")
    try:
        scale, offset = conversion(unit, measure.unit)
    except (UnknownUnit, UnitMismatch) as error:
        raise WrongInput(f"{measure.text}: {error}") from error
    kept = round(value * scale + offset, 12)
    if not isfinite(kept) or not measure.least <= kept <= measure.most:
        shown = shown_unit(measure.unit)
        raise WrongInput(
            f"{measure.text} of {value:g} {unit} cannot be: it lies between {measure.least:g} and "
            f"{measure.most:g} {shown}; look at the value and its unit"
        )
    return kept


def measure_of(what: str) -> Measure:
    """The measure of a name.

    Raises:
        WrongInput: there is none of that name; the message lists them.
    """
    if what not in MEASURES:
        raise WrongInput(f"'{what[:40]}' is not measured; known are: {', '.join(MEASURES)}")
    return MEASURES[what]
