"""What goes wrong with die plate, knives and dryer."""

from __future__ import annotations

from simulator.faults.kind import FaultKind, Moment
from simulator.machines.upsets import Upsets

# How far knives that turn at the wrong speed are off at the worst.
_SPEED_OFF = 0.25
_MOST_FROZEN = 0.9


def kinds() -> dict[str, FaultKind]:
    """Faults of the pelletizer but for its water."""
    return {**_of_die(), **_of_knives(), **_of_dryer()}


def _of_die() -> dict[str, FaultKind]:
    return {
        "holes_frozen": FaultKind(
            number="B24",
            text="holes of the die freeze; the severity is their share, 0.9 at most",
            tags=("die.pressure.pv",),
            act=_freeze,
            severity=3,
            must_detect_within_s=180.0,
        ),
        "die_drool": FaultKind(
            number="B25",
            text="melt smears over the die plate; severity 1: the knives run in it",
            tags=("pelletizer.knife.torque.pv", "water.fines.level.pv"),
            act=_drool,
            severity=2,
            must_detect_within_s=None,
        ),
    }


def _of_knives() -> dict[str, FaultKind]:
    return {
        "knife_wear": FaultKind(
            number="B26",
            text="the knives get blunt; severity 1: 22 points of torque more, tails",
            tags=("pelletizer.knife.torque.pv",),
            act=_wear,
            severity=2,
            must_detect_within_s=6000.0,
        ),
        "knife_pressure_loss": FaultKind(
            number="B27",
            text="the force on the knives goes; severity 1: all of it",
            tags=("pelletizer.knife.pressure.pv", "pelletizer.knife.torque.pv"),
            act=_release,
            severity=4,
            must_detect_within_s=60.0,
        ),
        "knife_fast": FaultKind(
            number="B28",
            text="the knives turn faster than set, pellets get short; severity 1: by 25 %",
            tags=("pelletizer.knife.speed.pv",),
            act=_hurry,
            severity=2,
            must_detect_within_s=300.0,
        ),
        "knife_slow": FaultKind(
            number="B28",
            text="the knives turn slower than set, pellets get long; severity 1: by 25 %",
            tags=("pelletizer.knife.speed.pv",),
            act=_dawdle,
            severity=2,
            must_detect_within_s=300.0,
        ),
    }


def _of_dryer() -> dict[str, FaultKind]:
    return {
        "dryer_overload": FaultKind(
            number="B31",
            text="the dryer labours, pellets stay wet; severity 1: half as much load current again",
            tags=("dryer.current.pv", "dryer.vibration.pv", "dryer.exhaust.temp.pv"),
            act=_load,
            severity=3,
            must_detect_within_s=60.0,
        ),
        "dryer_jam": FaultKind(
            number="B31",
            text="pellets no longer reach the dryer; severity 1: none",
            tags=("dryer.current.pv", "dryer.vibration.pv"),
            act=_jam,
            severity=4,
            must_detect_within_s=60.0,
        ),
    }


def _freeze(upsets: Upsets, moment: Moment) -> None:
    upsets.holes_frozen = max(upsets.holes_frozen, min(_MOST_FROZEN, moment.level))


def _drool(upsets: Upsets, moment: Moment) -> None:
    upsets.die_drool = max(upsets.die_drool, moment.level)


def _wear(upsets: Upsets, moment: Moment) -> None:
    upsets.knife_wear = max(upsets.knife_wear, moment.level)


def _release(upsets: Upsets, moment: Moment) -> None:
    upsets.knife_pressure_loss = max(upsets.knife_pressure_loss, moment.level)


def _hurry(upsets: Upsets, moment: Moment) -> None:
    upsets.knife_speed_error = (1.0 + upsets.knife_speed_error) * (1.0 + _SPEED_OFF * moment.level) - 1.0


def _dawdle(upsets: Upsets, moment: Moment) -> None:
    upsets.knife_speed_error = (1.0 + upsets.knife_speed_error) * (1.0 - _SPEED_OFF * moment.level) - 1.0


def _load(upsets: Upsets, moment: Moment) -> None:
    upsets.dryer_load = max(upsets.dryer_load, moment.level)


def _jam(upsets: Upsets, moment: Moment) -> None:
    upsets.dryer_jam = max(upsets.dryer_jam, moment.level)
