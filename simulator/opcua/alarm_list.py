"""The machine's own short alarm list: fixed limits on what it publishes, as a simple controller has them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from simulator.published import Sample

# Fixed limits of a simulated machine: common practice, no source.
PRESSURE_HIGH_BAR = 130.0
PRESSURE_BACK_BAR = 125.0
ZONE_OFF_K = 15.0
ZONE_BACK_K = 12.0
WIPER_TORQUE_HIGH_PERCENT = 95.0
TRIP_BAR = 190.0

_WIPER_FAULT_CODE = 3.0

Values = Mapping[str, float]
# What is wrong, for a person, from the values of now and of before and whether it is active; "" when nothing.
Rule = Callable[[Values, Values, bool], str]


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


@dataclass(slots=True)
class Alarm:
    """The state of one entry.

    Attributes:
        active: whether it is wrong now.
        acked: whether somebody has acknowledged it since it became active.
        since_ns: source time of the last change.
        message: for a person, what is wrong, or was.
    """

    kind: AlarmKind
    active: bool = False
    acked: bool = True
    since_ns: int = 0
    message: str = ""

    @property
    def retained(self) -> bool:
        """Whether somebody still has to know of it."""
        return self.active or not self.acked


def _pressure_high(now: Values, _before: Values, active: bool) -> str:
    bar = now.get("filter.inlet.pressure.pv", 0.0)
    return f"{bar:.0f} bar" if bar > (PRESSURE_BACK_BAR if active else PRESSURE_HIGH_BAR) else ""


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


KINDS = (
    AlarmKind("MeltPressureHigh", "melt pressure before the screen high", 700, 3, _pressure_high),
    AlarmKind("HeaterZoneDeviation", "heater zone off its set-point", 500, 10, _zone_off),
    AlarmKind("WiperFault", "wiper fault", 600, 2, _wiper_fault),
    AlarmKind("LineTrip", "line stopped itself", 900, 1, _line_trip),
)


@dataclass
class AlarmList:
    """The alarms of a machine, moved on by each second's published samples."""

    alarms: list[Alarm] = field(default_factory=lambda: [Alarm(kind) for kind in KINDS])
    _now: dict[str, float] = field(default_factory=dict)
    _wrong_s: dict[str, int] = field(default_factory=dict)

    def judge(self, samples: Iterable[Sample]) -> list[Alarm]:
        """Take one second's samples; the alarms that changed."""
        before = dict(self._now)
        time_ns = 0
        for sample in samples:
            self._now[sample.path] = sample.value
            time_ns = sample.time_ns
        return [alarm for alarm in self.alarms if self._moved(alarm, before, time_ns)]

    def _moved(self, alarm: Alarm, before: Values, time_ns: int) -> bool:
        kind = alarm.kind
        wrong = kind.rule(self._now, before, alarm.active)
        count = self._wrong_s.get(kind.name, 0) + 1 if wrong else 0
        self._wrong_s[kind.name] = count
        active = count >= kind.delay_s
        if active == alarm.active:
            return False
        alarm.active, alarm.since_ns = active, time_ns
        if active:
            alarm.acked, alarm.message = False, f"{kind.text} ({wrong})"
        return True

    def texts(self) -> list[str]:
        """The plain list: what is active, the longest standing first."""
        active = sorted((a for a in self.alarms if a.active), key=lambda a: a.since_ns)
        return [a.message for a in active]
