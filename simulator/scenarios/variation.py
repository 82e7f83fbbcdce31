"""How one plant of the same design may differ from another: named factors, each with its range.

A scenario carries a mapping from these names to numbers; the builder of the plant scales its designs by them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from historian.errors import WrongInput


@dataclass(frozen=True, slots=True)
class Factor:
    """One way to differ.

    Attributes:
        text: what it scales or sets.
        low, high: its range; drawn evenly over the logarithm where it is a factor, evenly otherwise.
        usual: its value for the plant as described.
        scales: whether it is a factor (usual value 1) or a value of its own.
    """

    text: str
    low: float
    high: float
    usual: float = 1.0
    scales: bool = True


FACTORS: Mapping[str, Factor] = {
    "heater.power": Factor("power of all heaters", 0.8, 1.25),
    "heater.capacity": Factor(
        "heat capacity of plates, barrel and die, hence their time constants", 0.75, 1.3
    ),
    "heater.loss": Factor("heat that zones lose to the hall", 0.75, 1.3),
    "heater.coupling": Factor("heat conducted between neighbouring zones", 0.75, 1.3),
    "heater.melt_contact": Factor("heat transfer between melt and steel", 0.75, 1.3),
    "heater.scatter": Factor("how much zones of one machine differ among themselves", 0.6, 1.4),
    "control.gain": Factor("proportional gain of the temperature controllers", 0.75, 1.3),
    "control.integral_s": Factor("integral time of the temperature controllers", 0.75, 1.3),
    "control.derivative_s": Factor("derivative time of the temperature controllers", 0.75, 1.3),
    "probe.lag_s": Factor("lag of thermocouples", 0.7, 1.4),
    "melt.viscosity": Factor("consistency K of the melt", 0.88, 1.14),
    "melt.exponent": Factor("exponent n of the power law", 0.94, 1.06),
    "material.dirt": Factor("dirt in the feed", 0.75, 1.3),
    "material.dirt_scatter": Factor("how much dirt differs from bale to bale", 0.7, 1.4),
    "material.bulk_density": Factor("bulk density of the feed", 0.9, 1.1),
    "material.moisture": Factor("moisture of the feed", 0.8, 1.25),
    "screen.resistance": Factor("resistance of the clean screen", 0.8, 1.25),
    "screen.cake": Factor("resistance of a given mass of cake", 0.8, 1.25),
    "screen.retention": Factor("share of the dirt that stays on the screen", 0.9, 1.1),
    "wiper.effect": Factor("share of the cake that a cleaning takes", 0.93, 1.03),
    "wiper.rest": Factor("share of the cake that a cleaning leaves for good", 0.75, 1.3),
    "wiper.torque": Factor("torque that a cleaning takes", 0.8, 1.25),
    "die.resistance": Factor("resistance of the die", 0.85, 1.18),
    "screw.torque": Factor("torque of the screw drive", 0.9, 1.1),
    "water.cooler": Factor("capacity of the water cooler", 0.8, 1.25),
    "dryer.load": Factor("current that the dryer takes for its load", 0.8, 1.25),
    "knife.torque": Factor("torque of the knives", 0.85, 1.18),
    "feed.walk": Factor("drift of the doser's scale", 0.7, 1.4),
    "hall.swing": Factor("how much the hall warms over the day", 0.5, 1.5),
    "hall_cel": Factor("hall, Cel", 14.0, 28.0, 20.0, scales=False),
    "noise": Factor("noise of all sensors", 0.7, 1.4),
    "sampling.period_s": Factor("seconds between two samples of a temperature", 1.0, 2.0, 1.0, scales=False),
    "sampling.jitter_s": Factor(
        "jitter of samples, s, one standard deviation", 0.02, 0.15, 0.08, scales=False
    ),
    "sampling.missing_share": Factor("share of samples that never come", 0.0, 0.002, 0.0005, scales=False),
}
# Only whole seconds make sense to a controller that samples once a second.
_WHOLE = frozenset({"sampling.period_s"})


def factor(variation: Mapping[str, float], name: str) -> float:
    """The number that a variation has under that name, or the usual one.

    Raises:
        WrongInput: no such factor; a misspelt name would be a variation that never takes place.

    Example:
        >>> factor({"material.dirt": 1.2}, "material.dirt"), factor({}, "hall_cel")
        (1.2, 20.0)
    """
    if name not in FACTORS:
        raise WrongInput(f"no factor '{name}' among the variations of a plant; known: {', '.join(FACTORS)}")
    return variation.get(name, FACTORS[name].usual)


def drawn(*key: int | str) -> dict[str, float]:
    """A plant drawn at random: every factor within its range, the same for the same key."""
    chance = generator("plant", *key)
    numbers: dict[str, float] = {}
    for name, one in FACTORS.items():
        part = float(chance.random())
        if name in _WHOLE:
            numbers[name] = float(round(one.low + part * (one.high - one.low)))
        elif one.scales:
            numbers[name] = round(float(one.low * (one.high / one.low) ** part), 4)
        else:
            numbers[name] = round(one.low + part * (one.high - one.low), 6)
    return numbers


def generator(*key: int | str) -> np.random.Generator:
    """Random numbers that depend on the key only."""
    entropy = [part if isinstance(part, int) else crc32(part.encode()) for part in key]
    return np.random.Generator(np.random.PCG64(entropy))
