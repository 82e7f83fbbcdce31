"""Targets and what figures say of them, in a reader's words. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from historian.errors import WrongInput
from historian.units import quantity
from trials.outcome.targets import Target, Verdict
from trials.report.speech import Speech, marked

WORDS: Final[Mapping[Verdict, str]] = {
    Verdict.REACHED: marked("reached"),
    Verdict.NOT_REACHED: marked("not reached"),
    Verdict.UNDECIDED: marked("not decided: the target lies within the uncertainty"),
    Verdict.NOT_SHOWN: marked("not shown in this trial"),
    Verdict.OTHER_UNIT: marked("not compared: the target is in a unit of another kind"),
}


def words_of(target: Target, unit: str, say: Speech) -> str:
    """The target in the reader's units; as it was written where it cannot be read in this unit."""

    def limit(written: str) -> str:
        try:
            return say.told(quantity(written, unit), unit)
        except WrongInput:
            return written

    said = []
    if target.least is not None:
        said.append(say("at least {limit}", limit=limit(target.least)))
    if target.most is not None:
        said.append(say("at most {limit}", limit=limit(target.most)))
    return say.listed(said)
