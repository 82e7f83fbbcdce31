"""What goes wrong with screw, vent and the pipe before the filter."""

from __future__ import annotations

from simulator.faults.kind import FaultKind, Moment
from simulator.machines.upsets import Upsets


def kinds() -> dict[str, FaultKind]:
    """Faults of the extruder."""
    return {
        "vent_flow": FaultKind(
            number="B32",
            text="melt climbs into the vent; severity 1: as far as it goes",
            tags=("extruder.vent.1.temp.pv", "extruder.vent.1.pressure.pv"),
            act=_climb,
            severity=3,
            must_detect_within_s=None,
        ),
        "vacuum_leak": FaultKind(
            number="B32",
            text="the vent draws false air; severity 1: about 300 mbar there",
            tags=("extruder.vent.1.pressure.pv",),
            act=_leak,
            severity=3,
            must_detect_within_s=None,
        ),
        "melt_line_restricted": FaultKind(
            number="B38",
            text="a cold plug or a closing valve before the filter; severity 1: 110 bar more at the head",
            tags=("extruder.head.pressure.pv",),
            act=_restrict,
            severity=4,
            must_detect_within_s=30.0,
        ),
        "trip_bypassed": FaultKind(
            number="B38",
            text="somebody has bridged the trip of the head pressure; severity has no meaning",
            tags=("extruder.head.pressure.pv", "extruder.enable.state"),
            act=_bridge_trip,
            severity=4,
            must_detect_within_s=30.0,
        ),
        "motor_overload": FaultKind(
            number="B39",
            text="the screw rubs or turns in unmolten lumps; severity 1: 60 points of torque more",
            tags=("extruder.drive.torque.pv", "extruder.drive.current.pv", "extruder.drive.power.pv"),
            act=_rub,
            severity=4,
            must_detect_within_s=15.0,
        ),
    }


def _climb(upsets: Upsets, moment: Moment) -> None:
    upsets.vent_flow = max(upsets.vent_flow, moment.level)


def _leak(upsets: Upsets, moment: Moment) -> None:
    upsets.vacuum_leak = max(upsets.vacuum_leak, moment.level)


def _restrict(upsets: Upsets, moment: Moment) -> None:
    upsets.melt_line_restriction = max(upsets.melt_line_restriction, moment.level)


def _bridge_trip(upsets: Upsets, _moment: Moment) -> None:
    upsets.trip_bypassed = True


def _rub(upsets: Upsets, moment: Moment) -> None:
    upsets.screw_friction = max(upsets.screw_friction, moment.level)
