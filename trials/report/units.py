"""Units of a report: as they are kept, or those that people in the United States read. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from historian.units import conversion, shown_unit


class System(StrEnum):
    """Which units a reader wants."""

    METRIC = "metric"
    US = "us"


@dataclass(frozen=True, slots=True)
class Shown:
    """How a kept unit is shown: value · scale + offset, in ``text``."""

    scale: float
    offset: float
    text: str


_IN_CM: Final = 2.54
_LB_KG: Final = 0.45359237
_FT_M: Final = 0.3048
_GAL_L: Final = 3.785411784
_PSI_BAR: Final = 14.503773773
"""All exact, but for psi, to eleven digits. Source: NIST SP 811 (2008), appendix B.8."""

_KNOWN: Final[Mapping[str, str]] = {
    "Cel": "[degF]",
    "K": "[degR]{diff}",
    "K{diff}": "[degR]{diff}",
    "bar": "[psi]",
    "kg": "[lb_av]",
    "kg/h": "[lb_av]/h",
    "kW.h/kg": "kW.h/[lb_av]",
    "mm": "[in_i]",
}
"""Units whose counterpart the allow-list knows."""

_FURTHER: Final[Mapping[str, Shown]] = {
    "kg/h/cm2": Shown(_IN_CM**2 / _LB_KG, 0, "lb/(h·in²)"),
    "kg.min/h": Shown(1 / _LB_KG, 0, "lb·min/h"),
    "bar.cm2/kg": Shown(_PSI_BAR / _IN_CM**2 * _LB_KG, 0, "psi·in²/lb"),
    "cm2": Shown(1 / _IN_CM**2, 0, "in²"),
    "m2": Shown(1 / _FT_M**2, 0, "ft²"),
    "m3/h": Shown(1000 / 60 / _GAL_L, 0, "gal/min"),
    "L": Shown(1 / _GAL_L, 0, "gal"),
    "kg/m3": Shown(_FT_M**3 / _LB_KG, 0, "lb/ft³"),
    "/m": Shown(_FT_M, 0, "1/ft"),
}
"""What has no counterpart there. Micrometres stay: the fineness of screens is told in them everywhere."""


def shown(unit: str, system: System, *, difference: bool = False) -> Shown:
    """How a unit is shown.

    Args:
        unit: UCUM code as it is kept.
        difference: whether the values are differences: of 10 °C, then, 18 °F remain.

    Raises:
        UnknownUnit: for what is no unit of the allow-list and not in the tables here.
    """
    code = "K" if difference and unit == "Cel" else unit
    if system is System.US and code in _FURTHER:
        return _FURTHER[code]
    if system is System.US and code in _KNOWN:
        other = _KNOWN[code]
        # A kelvin here is always a difference: temperatures are kept in degrees Celsius.
        scale, offset = conversion("K{diff}" if code == "K" else code, other)
        return Shown(scale, offset, "°F" if other == "[degR]{diff}" else shown_unit(other))
    return Shown(1.0, 0.0, "K" if code == "K{diff}" else "" if code == "1" else shown_unit(code))
