"""Units of measure: UCUM codes, what else people write for them, and conversion between them.

Only units on this allow-list are read: a general parser takes several plant units for something else
(``Nm`` as a yarn count, ``rpm`` as an angular frequency in radians), so nothing is guessed.
Source of the codes: UCUM 2.1; of the numbers in ``UNECE``: OPC 10000-8, 5.6.3 (the bytes of the UNECE code,
read as one big-endian number).
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Final

from historian.errors import UnitMismatch, UnknownUnit

# UCUM code → expression for pint. A speed is a count per time here, never radians.
_EXPRESSIONS: Final[Mapping[str, str]] = {
    "1": "dimensionless",
    "%": "percent",
    "[ppm]": "ppm",
    "bar": "bar",
    "mbar": "mbar",
    "Pa": "Pa",
    "kPa": "kPa",
    "MPa": "MPa",
    "[psi]": "psi",
    "Cel": "degC",
    "K": "kelvin",
    "[degF]": "degF",
    "kg/h": "kg/h",
    "kg/s": "kg/s",
    "g/s": "g/s",
    "t/h": "metric_ton/h",
    "[lb_av]/h": "lb/h",
    "kg": "kg",
    "g": "g",
    "t": "metric_ton",
    "[lb_av]": "lb",
    "[ston_av]": "short_ton",
    "/min": "1/min",
    "/s": "1/s",
    "/h": "1/h",
    "Hz": "1/s",
    "W": "W",
    "kW": "kW",
    "[HP]": "hp",
    "kW.h": "kW*h",
    "MJ": "MJ",
    "kJ": "kJ",
    "J": "J",
    "kW.h/kg": "kW*h/kg",
    "kJ/kg": "kJ/kg",
    "MJ/kg": "MJ/kg",
    "J/kg": "J/kg",
    "kW.h/[lb_av]": "kW*h/lb",
    "A": "A",
    "mA": "mA",
    "V": "V",
    "mV": "mV",
    "Ohm": "ohm",
    "N.m": "N*m",
    "um": "um",
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "[in_i]": "inch",
    "mm2": "mm**2",
    "cm2": "cm**2",
    "m2": "m**2",
    "L": "L",
    "m3": "m**3",
    "m3/h": "m**3/h",
    "L/min": "L/min",
    "L/h": "L/h",
    "mm/s": "mm/s",
    "m/s": "m/s",
    "m/min": "m/min",
    "g/cm3": "g/cm**3",
    "kg/m3": "kg/m**3",
    "g/(10.min)": "g/(10*min)",
    "Pa.s": "Pa*s",
    "deg": "degree",
    "s": "s",
    "ms": "ms",
    "min": "min",
    "h": "h",
    "d": "day",
    "K/min": "kelvin/min",
    "kJ/(kg.K)": "kJ/(kg*kelvin)",
}

# What else is written for a UCUM code, in files and on panels.
_ALIASES: Final[Mapping[str, str]] = {
    "": "1",
    "{1}": "1",
    "°C": "Cel",
    "degC": "Cel",
    "C": "Cel",
    "°F": "[degF]",
    "degF": "[degF]",
    "F": "[degF]",
    "psi": "[psi]",
    "lbf/in²": "[psi]",
    "1/min": "/min",
    "{rev}/min": "/min",
    "r/min": "/min",
    "rpm": "/min",
    "RPM": "/min",
    "min-1": "/min",
    "min⁻¹": "/min",
    "1/s": "/s",
    "s⁻¹": "/s",
    "1/h": "/h",
    "lb/h": "[lb_av]/h",
    "lb": "[lb_av]",
    "hp": "[HP]",
    "kWh": "kW.h",
    "kW·h": "kW.h",
    "kWh/kg": "kW.h/kg",
    "kW·h/kg": "kW.h/kg",
    "kWh/lb": "kW.h/[lb_av]",
    "kW·h/lb": "kW.h/[lb_av]",
    "Nm": "N.m",
    "N·m": "N.m",
    "µm": "um",
    "μm": "um",
    "micron": "um",
    "cm²": "cm2",
    "mm²": "mm2",
    "m²": "m2",
    "m³/h": "m3/h",
    "m³": "m3",
    "l": "L",
    "l/min": "L/min",
    "l/h": "L/h",
    "kg/m³": "kg/m3",
    "g/cm³": "g/cm3",
    "g/10min": "g/(10.min)",
    "g/10 min": "g/(10.min)",
    "°": "deg",
    "ohm": "Ohm",
    "Ω": "Ohm",
    "°C/min": "K/min",
    "in": "[in_i]",
    "ppm": "[ppm]",
}

# OPC UA unit number (EUInformation.unitId) → UCUM code.
_UNECE_CODES: Final[Mapping[str, str]] = {
    "BAR": "bar",
    "MBR": "mbar",
    "PAL": "Pa",
    "KPA": "kPa",
    "MPA": "MPa",
    "PS": "[psi]",
    "CEL": "Cel",
    "FAH": "[degF]",
    "KEL": "K",
    "E93": "kg/h",
    "RPM": "/min",
    "M46": "/min",
    "C94": "/min",
    "C97": "/s",
    "HTZ": "Hz",
    "KWT": "kW",
    "WTT": "W",
    "KWH": "kW.h",
    "AMP": "A",
    "4K": "mA",
    "VLT": "V",
    "2Z": "mV",
    "OHM": "Ohm",
    "NU": "N.m",
    "MMT": "mm",
    "4H": "um",
    "CMT": "cm",
    "MTR": "m",
    "CMK": "cm2",
    "MMK": "mm2",
    "MTK": "m2",
    "KGM": "kg",
    "GRM": "g",
    "TNE": "t",
    "23": "g/cm3",
    "KMQ": "kg/m3",
    "MQH": "m3/h",
    "L2": "L/min",
    "C65": "Pa.s",
    "SEC": "s",
    "C26": "ms",
    "MIN": "min",
    "HUR": "h",
    "DAY": "d",
    "P1": "%",
    "C62": "1",
    "DD": "deg",
    "C16": "mm/s",
    "MTS": "m/s",
    "H13": "K/min",
    "J2": "J/kg",
    "B42": "kJ/kg",
    "JK": "MJ/kg",
    "B43": "kJ/(kg.K)",
}


def unece_number(code: str) -> int:
    """The OPC UA unit number of a UNECE code.

    Example:
        >>> unece_number("CEL")
        4408652
    """
    return int.from_bytes(code.encode("ascii"), "big")


UNECE: Final[Mapping[int, str]] = {unece_number(code): ucum for code, ucum in _UNECE_CODES.items()}
"""OPC UA unit number → UCUM code."""


def ucum(text: str) -> str:
    """The UCUM code that a written unit stands for.

    Raises:
        UnknownUnit: naming the nearest known ones.

    Example:
        >>> ucum("r/min"), ucum("°C"), ucum("kW.h/kg")
        ('/min', 'Cel', 'kW.h/kg')
    """
    code = _ALIASES.get(text.strip(), text.strip())
    if code in _EXPRESSIONS:
        return code
    near = difflib.get_close_matches(text, [*_EXPRESSIONS, *_ALIASES], n=3, cutoff=0.5)
    hint = f"; near it: {', '.join(near)}" if near else ""
    raise UnknownUnit(
        f"the unit '{text[:40]}' is not known (UCUM codes such as bar, Cel, kg/h, /min are){hint}"
    )


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@lru_cache(maxsize=1024)
def conversion(from_unit: str, to_unit: str) -> tuple[float, float]:
    """(scale, offset) so that value_to = value_from · scale + offset.

    Raises:
        UnknownUnit, UnitMismatch: naming both units.

    Example:
        >>> conversion("MPa", "bar")
        (10.0, 0.0)
        >>> scale, offset = conversion("[degF]", "Cel")
        >>> round(212 * scale + offset, 9)
        100.0
    """
    source, target = ucum(from_unit), ucum(to_unit)
    if source == target:
        return 1.0, 0.0
    at_zero, at_one = (_convert(x, source, target) for x in (0.0, 1.0))
    offset = 0.0 if abs(at_zero) < 1e-12 else at_zero
    # The library's last bits are rounded away: 1 MPa is 10 bar, not 10.000000000000002.
    return float(f"{at_one - at_zero:.15g}"), float(f"{offset:.15g}")


def difference_scale(from_unit: str, to_unit: str) -> float:
    """Scale for a difference: a rise of 18 °F is a rise of 10 K, without any offset.

    Example:
        >>> round(18 * difference_scale("[degF]", "K"), 9)
        10.0
    """
    return conversion(from_unit, to_unit)[0]


def _convert(value: float, source: str, target: str) -> float:
    import pint

    registry = _registry()
    try:
        quantity = registry.Quantity(value, _EXPRESSIONS[source])
        return float(quantity.to(_EXPRESSIONS[target]).magnitude)
    except pint.DimensionalityError as error:
        raise UnitMismatch(
            f"'{source}' and '{target}' do not measure the same thing: give a unit that can become {target}"
        ) from error


def quantity(text: str, unit: str) -> float:
    """The number of ``unit`` in a written quantity such as ``1240 cm2`` or ``45 bar``.

    Raises:
        UnknownUnit, UnitMismatch: as ``conversion``; UnknownUnit also when there is no number.

    Example:
        >>> quantity("9 min", "s"), quantity("0.5 MPa", "bar")
        (540.0, 5.0)
    """
    number, _, written = text.strip().partition(" ")
    try:
        value = float(number)
    except ValueError as error:
        raise UnknownUnit(f"'{text[:40]}' is not a number, a space and a unit, such as 45 bar") from error
    scale, offset = conversion(written or "1", unit)
    return value * scale + offset
