"""The entries of the machine's own short alarm list: fixed limits on what it publishes.

They are as good as such lists are: one limit for all materials, a small hysteresis, a short delay, and next
to nothing that silences them. At a standstill some stand for hours; at a start many come at once; a value
that lies at its limit lets one come and go. common practice, no source: all limits.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

Values = Mapping[str, float]
# What is wrong, for a person, from the values of now and of before and whether it is active; "" when nothing.
Rule = Callable[[Values, Values, bool], str]

ZONE_OFF_K = 15.0
ZONE_BACK_K = 12.0
WIPER_TORQUE_HIGH_PERCENT = 95.0
TRIP_BAR = 190.0
FEED_OFF_SHARE = 0.10
_FEED_BACK_SHARE = 0.08
_HEATER_ASKED_PERCENT = 50.0
_HEATER_LEAST_A = 0.2
_WIPER_FAULT_CODE = 3.0

LINE_TRIP, START_REFUSED, WIPER_FAULT = "LineTrip", "StartRefused", "WiperFault"


@dataclass(frozen=True, slots=True)
class AlarmKind:
    """One entry that the list can have.

    Attributes:
        name: of the condition.
        text: for a person.
        severity: 1–1000, as OPC UA has it.
        delay_s: how many seconds in a row it must be wrong.
        rule: when it is wrong.
    """

    name: str
    text: str
    severity: int
    delay_s: int
    rule: Rule


def above(path: str, limit: float, back: float, unit: str) -> Rule:
    """Wrong above the limit until the value is below ``back``; a tag that never came is never wrong."""

    def rule(now: Values, _before: Values, active: bool) -> str:
        value = now.get(path)
        return f"{value:.4g} {unit}" if value is not None and value > (back if active else limit) else ""

    return rule


def below(path: str, limit: float, back: float, unit: str) -> Rule:
    """Wrong below the limit until the value is above ``back``; a tag that never came is never wrong."""

    def rule(now: Values, _before: Values, active: bool) -> str:
        value = now.get(path)
        return f"{value:.4g} {unit}" if value is not None and value < (back if active else limit) else ""

    return rule


def _zone_off(now: Values, _before: Values, active: bool) -> str:
    # While the screw stands the machine heats up or cools down: its zones are off by right.
    if now.get("extruder.enable.state", 0.0) < 0.5:
        return ""
    allowed_k = ZONE_BACK_K if active else ZONE_OFF_K
    for path, setpoint_cel in now.items():
        if path.endswith(".temp.sp") and path != "water.supply.temp.sp":
            zone = path.removesuffix(".temp.sp")
            off_k = now.get(f"{zone}.temp.pv", setpoint_cel) - setpoint_cel
            if abs(off_k) > allowed_k and now.get(f"{zone}.enabled.state", 1.0) > 0.5:
                return f"{zone}: {off_k:+.0f} K"
    return ""


def _no_current(now: Values, _before: Values, _active: bool) -> str:
    for path, percent in now.items():
        if percent > _HEATER_ASKED_PERCENT and path.endswith(".out"):
            zone = path.removesuffix(".out")
            if now.get(f"{zone}.i", _HEATER_LEAST_A) < _HEATER_LEAST_A:
                return f"{zone}: {percent:.0f} % asked"
    return ""


def _feed_off(now: Values, _before: Values, active: bool) -> str:
    wanted = now.get("doser.rate.sp", 0.0)
    off = now.get("doser.rate.pv", wanted) - wanted
    if wanted <= 0.0 or abs(off) <= wanted * (_FEED_BACK_SHARE if active else FEED_OFF_SHARE):
        return ""
    return f"{off:+.0f} kg/h"


def _wiper_fault(now: Values, _before: Values, _active: bool) -> str:
    if now.get("filter.wiper.state") == _WIPER_FAULT_CODE:
        return "drive fault"
    torque = now.get("filter.wiper.torque.pv", 0.0)
    if torque > WIPER_TORQUE_HIGH_PERCENT:
        return f"torque {torque:.0f} %"
    if now.get("filter.wiper.state") == 0.0 and now.get("filter.wiper.park.state") == 0.0:
        return "not at park"
    return ""


def _line_trip(now: Values, before: Values, active: bool) -> str:
    if now.get("extruder.enable.state", 0.0) > 0.5:
        return ""
    if active:
        return "stopped"
    bar = max(v.get("extruder.head.pressure.pv", 0.0) for v in (now, before))
    ran = before.get("extruder.enable.state", 0.0) > 0.5
    return f"stopped at {bar:.0f} bar" if ran and bar > TRIP_BAR else ""


def _only_told(_now: Values, _before: Values, _active: bool) -> str:
    return ""


KINDS = (
    AlarmKind(
        "MeltPressureHigh",
        "melt pressure before the screen high",
        700,
        3,
        above("filter.inlet.pressure.pv", 130.0, 125.0, "bar"),
    ),
    AlarmKind(
        "HeadPressureHigh",
        "melt pressure at the screw tip high",
        800,
        1,
        above("extruder.head.pressure.pv", 170.0, 169.0, "bar"),
    ),
    AlarmKind(
        "DiePressureLow",
        "melt pressure before the die low",
        300,
        5,
        below("die.pressure.pv", 10.0, 10.5, "bar"),
    ),
    AlarmKind(
        "MeltTemperatureHigh",
        "melt hot",
        500,
        5,
        above("extruder.melt.temp.pv", 250.0, 249.5, "Cel"),
    ),
    AlarmKind(
        "TorqueHigh",
        "screw drive, torque high",
        600,
        1,
        above("extruder.drive.torque.pv", 92.0, 91.5, "%"),
    ),
    AlarmKind("HeaterZoneDeviation", "heater zone off its set-point", 500, 10, _zone_off),
    AlarmKind("HeaterCurrentMissing", "heater draws no current", 400, 15, _no_current),
    AlarmKind(
        "ScreenDirty",
        "pressure difference over the screen high",
        400,
        10,
        above("filter.dp.calc", 60.0, 58.0, "bar"),
    ),
    AlarmKind(WIPER_FAULT, "wiper fault", 600, 2, _wiper_fault),
    AlarmKind(
        "DischargeCold",
        "discharge block cold",
        300,
        10,
        below("filter.discharge.temp.pv", 195.0, 196.0, "Cel"),
    ),
    AlarmKind("FeedDeviation", "feed off its set-point", 300, 10, _feed_off),
    AlarmKind("HopperLow", "hopper nearly empty", 200, 5, below("doser.level.pv", 10.0, 12.0, "%")),
    AlarmKind(
        "VacuumLost",
        "vent without vacuum",
        400,
        30,
        above("extruder.vent.1.pressure.pv", 250.0, 245.0, "mbar"),
    ),
    AlarmKind("WaterFlowLow", "too little process water", 700, 3, below("water.flow.pv", 12.0, 12.5, "m3/h")),
    AlarmKind("WaterHot", "process water hot", 300, 10, above("water.supply.temp.pv", 55.0, 54.8, "Cel")),
    AlarmKind(
        "KnifePressureLow",
        "knives not pressed on",
        600,
        3,
        below("pelletizer.knife.pressure.pv", 1.5, 1.55, "bar"),
    ),
    AlarmKind("DryerOverload", "dryer, current high", 600, 3, above("dryer.current.pv", 20.0, 19.5, "A")),
    AlarmKind("ChamberOpen", "cutting chamber open", 500, 1, below("pelletizer.closed.state", 0.5, 0.5, "")),
    AlarmKind(LINE_TRIP, "line stopped itself", 900, 1, _line_trip),
    AlarmKind(START_REFUSED, "start refused", 200, 1, _only_told),
)
