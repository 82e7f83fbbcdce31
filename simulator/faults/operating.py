"""What people do to the line that they should not: starts that somebody forces."""

from __future__ import annotations

from simulator.faults.kind import FaultKind, Moment
from simulator.machines.upsets import Upsets


def kinds() -> dict[str, FaultKind]:
    """Faults of handling; what the operator then does stands among the scenario's steps."""
    return {
        "soak_short": FaultKind(
            number="B7",
            text="the permissive of the soak is overridden, a start goes through; severity has no meaning",
            tags=("filter.wiper.state", "extruder.enable.state", "extruder.screw.speed.pv"),
            act=_override,
            severity=3,
            must_detect_within_s=10.0,
        ),
        "cold_start": FaultKind(
            number="B39",
            text="the screw is started with cold zones, the permissive overridden; severity has no meaning",
            tags=("extruder.enable.state", "extruder.screw.speed.pv", "extruder.drive.torque.pv"),
            act=_override,
            severity=4,
            must_detect_within_s=15.0,
        ),
    }


def _override(upsets: Upsets, _moment: Moment) -> None:
    upsets.soak_bypassed = True
