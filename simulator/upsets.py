"""How the plant differs from a sound one: what faults write and the plant reads."""

from __future__ import annotations

from dataclasses import dataclass, field

from simulator.filter import ORDINARY_REST


@dataclass(slots=True)
class Upsets:
    """How the plant differs from a sound one.

    Attributes:
        plate_power: what is left of each plate's heater, by place number.
        rest_share: share of the cake that a cleaning presses into the holes for good.
        trigger_inhibited: whether the cleaning trigger does nothing.
        dirt_factor: how much more dirt than ordinary comes with the feed.
    """

    plate_power: dict[int, float] = field(default_factory=dict)
    rest_share: float = ORDINARY_REST
    trigger_inhibited: bool = False
    dirt_factor: float = 1.0
