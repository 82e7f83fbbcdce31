"""What goes wrong with the process water."""

from __future__ import annotations

from simulator.faults.kind import FaultKind, Moment
from simulator.machines.upsets import Upsets


def kinds() -> dict[str, FaultKind]:
    """Faults of the process water."""
    return {
        "cooler_fouled": FaultKind(
            number="B29",
            text="the water cooler is fouled; severity 1: 35 % of it is left",
            tags=("water.cooler.valve.out", "water.supply.temp.pv"),
            act=_foul,
            severity=3,
            must_detect_within_s=720.0,
        ),
        "cooler_valve_open": FaultKind(
            number="B29",
            text="the valve of the water cooler sticks, the water gets cold; severity 1: fully open",
            tags=("water.supply.temp.pv", "water.return.temp.pv"),
            act=_stick,
            severity=3,
            must_detect_within_s=720.0,
        ),
        "strainer_blocked": FaultKind(
            number="B30",
            text="the strainer or a nozzle of the ring clogs; severity 1: 45 % of the flow is missing",
            tags=("water.flow.pv", "water.pressure.pv"),
            act=_clog,
            severity=4,
            must_detect_within_s=10.0,
        ),
        "water_pump_loss": FaultKind(
            number="B30",
            text="the water pump draws air; severity 1: 60 % of the flow is missing",
            tags=("water.flow.pv", "water.pressure.pv"),
            act=_draw_air,
            severity=4,
            must_detect_within_s=10.0,
        ),
    }


def _foul(upsets: Upsets, moment: Moment) -> None:
    upsets.cooler_fouling = max(upsets.cooler_fouling, moment.level)


def _stick(upsets: Upsets, moment: Moment) -> None:
    stuck = upsets.cooler_valve_stuck
    upsets.cooler_valve_stuck = moment.level if stuck is None else max(stuck, moment.level)


def _clog(upsets: Upsets, moment: Moment) -> None:
    upsets.strainer_block = max(upsets.strainer_block, moment.level)


def _draw_air(upsets: Upsets, moment: Moment) -> None:
    upsets.water_pump_loss = max(upsets.water_pump_loss, moment.level)
