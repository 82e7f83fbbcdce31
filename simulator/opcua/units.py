"""How OPC UA names the units of our tags: UNECE number and text.

Source: OPC 10000-8, 5.6.4: the number is the UNECE code's bytes read big-endian; codes from UNECE
Recommendation 20.
"""

from __future__ import annotations

from collections.abc import Mapping

NAMESPACE = "http://www.opcfoundation.org/UA/units/un/cefact"

# UCUM code → UNECE code and text.
_UNITS: Mapping[str, tuple[str, str]] = {
    "1": ("C62", "1"),
    "%": ("P1", "%"),
    "A": ("AMP", "A"),
    "Cel": ("CEL", "°C"),
    "bar": ("BAR", "bar"),
    "mbar": ("MBR", "mbar"),
    "deg": ("DD", "°"),
    "kW": ("KWT", "kW"),
    "kW.h": ("KWH", "kW·h"),
    "kg": ("KGM", "kg"),
    "kg/h": ("E93", "kg/h"),
    "m3/h": ("MQH", "m³/h"),
    "mm/s": ("C16", "mm/s"),
    "/min": ("RPM", "r/min"),
    "s": ("SEC", "s"),
    "h": ("HUR", "h"),
    "mm": ("MMT", "mm"),
    "um": ("4H", "µm"),
    "cm2": ("CMK", "cm²"),
    "MPa": ("MPA", "MPa"),
    "kPa": ("KPA", "kPa"),
    "K": ("KEL", "K"),
    "[psi]": ("PS", "psi"),
    "[degF]": ("FAH", "°F"),
    "[lb_av]": ("LBR", "lb"),
    "[lb_av]/h": ("4U", "lb/h"),
}


def unit_id(code: str) -> int:
    """The number of a UNECE code.

    Example:
        >>> unit_id("BAR"), unit_id("E93"), unit_id("4H")
        (4342098, 4536627, 13384)
    """
    return int.from_bytes(code.encode("ascii"), "big")


def engineering_unit(ucum: str) -> tuple[int, str]:
    """Number and text of a UCUM code; −1 and the code itself where UNECE has none.

    Example:
        >>> engineering_unit("bar"), engineering_unit("kW.h/kg")
        ((4342098, 'bar'), (-1, 'kW.h/kg'))
    """
    if ucum not in _UNITS:
        return -1, ucum
    code, text = _UNITS[ucum]
    return unit_id(code), text
