"""What must hold before the screw or the wiper may start, and what is missing, in figures."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from math import isnan
from typing import Literal

from simulator.controls.design import ControlDesign
from simulator.controls.view import LineView, ZoneView

Permissive = Literal["soak", "temperature", "park", "chamber", "water"]
PERMISSIVES: tuple[Permissive, ...] = ("soak", "temperature", "park", "chamber", "water")
# A wiper that is turned by hand shears what is cold; the pelletizer does not matter to it.
_FOR_WIPER: tuple[Permissive, ...] = ("soak", "temperature")
_HEAT: tuple[Permissive, ...] = ("soak", "temperature")
# So many zones are named; the rest are counted.
_NAMED = 3


class SoakClock:
    """How long all zones in use have been near their set-points.

    Attributes:
        seconds: on the clock.
    """

    __slots__ = ("_design", "seconds")

    def __init__(self, design: ControlDesign) -> None:
        self._design = design
        self.seconds = 0.0

    def step(self, dt_s: float, view: LineView) -> None:
        """Go on by one step."""
        band_k, restart_k = self._design.band_k, self._design.restart_k
        furthest_k = -1.0
        for zone in view.zones:
            if zone.taken_out:
                continue
            off_k = zone.sensed_cel - zone.setpoint_cel
            if off_k < 0.0:
                off_k = -off_k
            # The negation lets a reading that is none count as far off.
            if not zone.enabled or not off_k <= restart_k:
                self.seconds = 0.0
                return
            furthest_k = max(furthest_k, off_k)
        if 0.0 <= furthest_k <= band_k:
            self.seconds += dt_s


def in_use(view: LineView) -> Iterator[ZoneView]:
    """Zones that the operator has not taken out."""
    return (zone for zone in view.zones if not zone.taken_out)


def missing_for_screw(
    view: LineView, design: ControlDesign, soak: SoakClock, overridden: Collection[str]
) -> dict[str, str]:
    """Permissive → what it lacks, in words and figures; empty: the screw may start.

    A barrel zone that is far too cold stands under ``cold``; no override key reaches it.
    """
    found = _missing(PERMISSIVES, view, design, soak, overridden)
    if not view.soak_bypassed and (cold := _cold(view, design)):
        found["cold"] = cold
    return found


def missing_for_wiper(
    view: LineView, design: ControlDesign, soak: SoakClock, overridden: Collection[str]
) -> dict[str, str]:
    """The same for a wiper that is started by hand while no melt flows."""
    return _missing(_FOR_WIPER, view, design, soak, overridden)


def _missing(
    keys: tuple[Permissive, ...],
    view: LineView,
    design: ControlDesign,
    soak: SoakClock,
    overridden: Collection[str],
) -> dict[str, str]:
    found: dict[str, str] = {}
    for key in keys:
        if key in overridden or (key in _HEAT and view.soak_bypassed):
            continue
        if text := _lacks(key, view, design, soak):
            found[key] = text
    return found


def _lacks(key: Permissive, view: LineView, design: ControlDesign, soak: SoakClock) -> str:
    match key:
        case "soak":
            if soak.seconds < design.soak_s:
                return f"soak {soak.seconds / 60.0:.1f} of {design.soak_s / 60.0:.0f} min"
        case "temperature":
            return _off(view, design)
        case "park":
            if not view.wiper_parked:
                return f"wiper not at park, at {view.wiper_angle_deg:.0f} deg"
        case "chamber":
            if not view.chamber_closed:
                return "cutting chamber open"
        case "water":
            if not water_flows(view, design):
                return f"water {view.water_m3_h:.1f} of {view.water_setpoint_m3_h:.1f} m3/h"
    return ""


def water_flows(view: LineView, design: ControlDesign) -> bool:
    """Whether enough water flows to carry pellets off."""
    return view.water_m3_h > design.water_least_share * view.water_setpoint_m3_h


def _off(view: LineView, design: ControlDesign) -> str:
    zones = list(in_use(view))
    idle = [z for z in zones if not z.enabled]
    if idle:
        return f"heating off in {_names(idle)}"
    off = [z for z in zones if not abs(z.sensed_cel - z.setpoint_cel) <= design.restart_k]
    return f"more than {design.restart_k:g} K off: {_figures(off)}" if off else ""


def _cold(view: LineView, design: ControlDesign) -> str:
    barrel = [z for z in in_use(view) if z.name.startswith("extruder.")]
    cold = [z for z in barrel if not z.sensed_cel >= z.setpoint_cel - design.cold_k]
    return f"barrel cold: {_figures(cold)}" if cold else ""


def _figures(zones: list[ZoneView]) -> str:
    # The worst first; one without a reading is worse than any.
    worst = sorted(zones, key=lambda z: -_size(z.sensed_cel - z.setpoint_cel))
    named = [f"{z.name} {z.sensed_cel - z.setpoint_cel:+.1f} K" for z in worst[:_NAMED]]
    return ", ".join(named) + _rest(worst)


def _size(off_k: float) -> float:
    return float("inf") if isnan(off_k) else abs(off_k)


def _names(zones: list[ZoneView]) -> str:
    return ", ".join(z.name for z in zones[:_NAMED]) + _rest(zones)


def _rest(zones: list[ZoneView]) -> str:
    return f" and {len(zones) - _NAMED} more" if len(zones) > _NAMED else ""
