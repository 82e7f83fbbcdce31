"""Units of measure: UCUM codes, what else people write for them, and conversion between them.

Only units on the allow-list are read: a general parser takes several plant units for something else
(``Nm`` as a yarn count, ``rpm`` as an angular frequency in radians), so nothing is guessed. Gauge and
absolute pressures have the same units and are told apart by their reference; temperatures and differences of
temperatures have units of their own.
Source of the codes: UCUM 2.1; of the numbers in ``UNECE``: OPC 10000-8, 5.6.3 (the bytes of the UNECE code,
read as one big-endian number).
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Final

from historian._unit_names import ALIASES, EXPRESSIONS, SHOWN, UNECE_CODES
from historian.errors import UnitMismatch, UnknownUnit

PRESSURES: Final = frozenset({"bar", "mbar", "Pa", "hPa", "kPa", "MPa", "[psi]"})
"""Units in which a pressure says nothing without its reference."""

GAUGE: Final = "gauge"
ABSOLUTE: Final = "absolute"

_REFERENCES: Final = {
    "g": GAUGE,
    "gauge": GAUGE,
    "ü": GAUGE,
    "a": ABSOLUTE,
    "abs": ABSOLUTE,
    "absolute": ABSOLUTE,
}
_WITH_REFERENCE: Final = re.compile(
    r"(m?bar|[hkm]?pa|psi|\[psi\])[ _]*\(?(gauge|g|ü|absolute|abs|a)\.?\)?", re.IGNORECASE
)
_PRESSURES_WRITTEN: Final = {p.lower(): p for p in PRESSURES} | {"psi": "[psi]"}
_DIFFERENCES: Final = {"Cel": "K{diff}", "K": "K{diff}", "[degF]": "[degR]{diff}"}
_TEMPERATURES: Final = frozenset({"Cel", "[degF]"})


def unece_number(code: str) -> int:
    """The OPC UA unit number of a UNECE code.

    Example:
        >>> unece_number("CEL")
        4408652
    """
    return int.from_bytes(code.encode("ascii"), "big")


UNECE: Final[Mapping[int, str]] = {unece_number(code): ucum for code, ucum in UNECE_CODES.items()}
"""OPC UA unit number → UCUM code."""


def ucum(text: str) -> str:
    """The UCUM code that a written unit stands for.

    Raises:
        UnknownUnit: naming the nearest known ones.

    Example:
        >>> ucum("r/min"), ucum("°C"), ucum("kW.h/kg")
        ('/min', 'Cel', 'kW.h/kg')
    """
    code = ALIASES.get(text.strip(), text.strip())
    if code in EXPRESSIONS:
        return code
    if match := _WITH_REFERENCE.fullmatch(code):
        plain, reference = _PRESSURES_WRITTEN[match[1].lower()], _REFERENCES[match[2].lower()]
        raise UnknownUnit(
            f"'{text[:40]}' is a unit and a reference in one: give the unit {plain} and, apart from it, "
            f"that the pressure is {reference}"
        )
    near = difflib.get_close_matches(text, [*EXPRESSIONS, *ALIASES], n=3, cutoff=0.5)
    hint = f"; near it: {', '.join(near)}" if near else ""
    raise UnknownUnit(
        f"the unit '{text[:40]}' is not known (UCUM codes such as bar, Cel, kg/h, /min are){hint}"
    )


def shown_unit(code: str, reference: str = "") -> str:
    """How a person reads a unit and what a pressure counts from; ``unit_and_reference`` reads it back.

    Example:
        >>> shown_unit("Cel"), shown_unit("bar", "gauge"), shown_unit("kg/h")
        ('°C', 'bar(g)', 'kg/h')
    """
    return SHOWN.get(code, code) + {GAUGE: "(g)", ABSOLUTE: "(a)"}.get(reference, "")


def unit_and_reference(text: str) -> tuple[str, str]:
    """(UCUM code, ``gauge``, ``absolute`` or empty) of a unit that may say what a pressure counts from.

    Raises:
        UnknownUnit: as ``ucum``.

    Example:
        >>> unit_and_reference("bar(g)"), unit_and_reference("psia"), unit_and_reference("psi")
        (('bar', 'gauge'), ('[psi]', 'absolute'), ('[psi]', ''))
    """
    match = _WITH_REFERENCE.fullmatch(text.strip())
    if match is None:
        return ucum(text), ""
    return _PRESSURES_WRITTEN[match[1].lower()], _REFERENCES[match[2].lower()]


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
    if {source, target} & _TEMPERATURES and {source, target} & set(_DIFFERENCES.values()):
        raise UnitMismatch(
            f"'{source}' and '{target}': one is a temperature and the other a difference of temperatures; "
            "neither becomes the other"
        )
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
    source, target = difference_unit(from_unit), difference_unit(to_unit)
    return conversion(source, target)[0]


def difference_unit(unit: str) -> str:
    """The unit of a difference of two values of a unit; the same, but for temperatures.

    Example:
        >>> difference_unit("°C"), difference_unit("[degF]"), difference_unit("bar")
        ('K{diff}', '[degR]{diff}', 'bar')
    """
    code = ucum(unit)
    return _DIFFERENCES.get(code, code)


def pressure_conversion(
    from_unit: str, from_reference: str, to_unit: str, to_reference: str, *, ambient: str = ""
) -> tuple[float, float]:
    """(scale, offset) as ``conversion``, from a pressure above one zero to a pressure above another.

    Args:
        from_reference, to_reference: ``gauge`` or ``absolute``.
        ambient: the air's absolute pressure where and when it was measured, such as ``1013 mbar``.

    Raises:
        UnitMismatch: gauge to absolute, or back, without the air's pressure; or a reference is not said.
        UnknownUnit: as ``conversion``.

    Example:
        >>> pressure_conversion("bar", "gauge", "kPa", "absolute", ambient="1013 mbar")
        (100.0, 101.3)
        >>> pressure_conversion("bar", "gauge", "kPa", "gauge")
        (100.0, 0.0)
    """
    scale, offset = conversion(from_unit, to_unit)
    if not from_reference or not to_reference:
        raise UnitMismatch(f"{from_unit} to {to_unit}: say of both whether they are gauge or absolute")
    if from_reference == to_reference:
        return scale, offset
    if not ambient:
        raise UnitMismatch(
            f"{from_reference} and {to_reference} pressure are never mixed: one becomes the other only with "
            "the air's pressure of that place and day, stated as such (1013 mbar, say)"
        )
    air = quantity(ambient, to_unit)
    return scale, float(f"{air if to_reference == ABSOLUTE else -air:.15g}")


def _convert(value: float, source: str, target: str) -> float:
    import pint

    registry = _registry()
    try:
        quantity = registry.Quantity(value, EXPRESSIONS[source])
        return float(quantity.to(EXPRESSIONS[target]).magnitude)
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
