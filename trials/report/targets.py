"""Whether what the customer wants was reached, with the uncertainty of the figure. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from historian.errors import WrongInput
from historian.units import quantity
from trials.figures import Figure
from trials.report.speech import Speech, marked


class Verdict(StrEnum):
    """What a figure says of a target."""

    REACHED = "reached"
    NOT_REACHED = "not reached"
    UNDECIDED = "not decided: the target lies within the uncertainty"
    NOT_SHOWN = "not shown in this trial"
    OTHER_UNIT = "not compared: the target is in a unit of another kind"


WORDS: Final[Mapping[Verdict, str]] = {
    Verdict.REACHED: marked("reached"),
    Verdict.NOT_REACHED: marked("not reached"),
    Verdict.UNDECIDED: marked("not decided: the target lies within the uncertainty"),
    Verdict.NOT_SHOWN: marked("not shown in this trial"),
    Verdict.OTHER_UNIT: marked("not compared: the target is in a unit of another kind"),
}


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

    def words(self, unit: str, say: Speech) -> str:
        """The target in the reader's units; as it was written where it cannot be read in this unit."""

        def limit(written: str) -> str:
            try:
                return say.told(quantity(written, unit), unit)
            except WrongInput:
                return written

        said = []
        if self.least is not None:
            said.append(say("at least {limit}", limit=limit(self.least)))
        if self.most is not None:
            said.append(say("at most {limit}", limit=limit(self.most)))
        return say.listed(said)
