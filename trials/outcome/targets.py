"""What the customer wants of a figure, whether it was reached, and which figures answer for a trial."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from historian.errors import WrongInput
from historian.units import quantity
from trials.figures.figure import Figure


class Verdict(StrEnum):
    """What a figure says of a target."""

    REACHED = "reached"
    NOT_REACHED = "not reached"
    UNDECIDED = "not decided: the target lies within the uncertainty"
    NOT_SHOWN = "not shown in this trial"
    OTHER_UNIT = "not compared: the target is in a unit of another kind"


@dataclass(frozen=True, slots=True)
class Target:
    """What is wanted of a figure, as it was written."""

    figure: str
    least: str | None
    most: str | None

    @classmethod
    def of(cls, data: Mapping[str, Any]) -> Target:
        """From the plan's form."""
        return cls(str(data["figure"]), data.get("least"), data.get("most"))

    def verdict(self, figure: Figure | None) -> Verdict:
        """What the figure says of it; a figure whose uncertainty is not known is taken as it stands."""
        if figure is None or figure.value is None:
            return Verdict.NOT_SHOWN
        around = figure.expanded or 0.0
        low, high = figure.value - around, figure.value + around
        found = Verdict.REACHED
        for written, sign in ((self.least, 1), (self.most, -1)):
            if written is None:
                continue
            try:
                limit = quantity(written, figure.unit)
            except WrongInput:
                return Verdict.OTHER_UNIT
            # How far the nearer and the farther end of the interval lie on the good side of the limit.
            worst, best = sorted(sign * (end - limit) for end in (low, high))
            if best < 0:
                return Verdict.NOT_REACHED
            if worst < 0:
                found = Verdict.UNDECIDED
        return found


@dataclass(frozen=True, slots=True)
class Key:
    """A figure that answers for a trial.

    Attributes:
        names: of figures, the better first; the first that has a value counts.
        short: what a target may call it beside these.
    """

    names: tuple[str, ...]
    short: tuple[str, ...]

    def is_meant(self, target: Target) -> bool:
        """Whether a target is about it."""
        return target.figure.strip().lower() in (*self.names, *self.short)


THROUGHPUT: Final = Key(
    ("throughput, agreed", "throughput, product scale", "throughput, doser"), ("throughput",)
)
INTERVAL: Final = Key(("cleaning period",), ("interval", "cleaning interval"))
LOSS: Final = Key(("discharge loss, gross",), ("discharge loss", "loss"))
MELT: Final = Key(("temperature, melt at the screw tip",), ("melt temperature",))
ENERGY: Final = Key(("specific energy, line", "specific energy, drive"), ("specific energy", "energy"))
MOISTURE: Final = Key(("pellet moisture",), ("moisture",))
