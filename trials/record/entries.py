"""An entry of a trial's record: what somebody wrote down, of when, and in place of which earlier one.

Entries are only added. A correction is an entry that replaces another, a withdrawal one that says why; both
leave the old words where they are, so that the record is its own audit. When something was so
(``time_ns``) and when it was written (``entered_ns``) are kept apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final

from historian.written import Section
from trials.forms import forms


class What(StrEnum):
    """Which form an entry is."""

    MATERIAL = "material"
    PRE_ANALYSIS = "pre-analysis"
    ASSESSMENT = "assessment"
    PLAN = "plan"
    PERSON = "person"
    SCREEN = "screen"
    DIE = "die"
    SETTING = "setting"
    PHASES = "phases"
    LOT = "lot"
    SAMPLE = "sample"
    RESULT = "result"
    WEIGHING = "weighing"
    BAG = "bag"
    NOTE = "note"
    PHOTO = "photo"
    ZERO_CHECK = "zero-check"
    SITTING = "sitting"
    WITHDRAWN = "withdrawn"
    SEALED = "sealed"
    FORGOTTEN = "forgotten"


FORMS: Final[Mapping[What, type[Section]]] = {
    What.MATERIAL: forms.Material,
    What.PRE_ANALYSIS: forms.PreAnalysis,
    What.ASSESSMENT: forms.Assessment,
    What.PLAN: forms.Plan,
    What.PERSON: forms.Person,
    What.SCREEN: forms.Screen,
    What.DIE: forms.Die,
    What.SETTING: forms.Setting,
    What.PHASES: forms.Phases,
    What.LOT: forms.Lot,
    What.SAMPLE: forms.Sample,
    What.RESULT: forms.Result,
    What.WEIGHING: forms.Weighing,
    What.BAG: forms.Bag,
    What.NOTE: forms.Note,
    What.PHOTO: forms.Photo,
    What.ZERO_CHECK: forms.ZeroCheck,
    What.SITTING: forms.Sitting,
}
"""The forms that people fill in; the other kinds are written by the record itself."""

ONCE: Final = frozenset({What.MATERIAL, What.PLAN, What.PHASES})
"""Of these a trial has one at a time: a new one takes the place of the one before."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry.

    Attributes:
        id: in the order of writing, over all trials of the line.
        time_ns: when it was so, UTC nanoseconds.
        entered_ns: when it was written, UTC nanoseconds.
        by: who wrote it.
        data: the form as it was filled in, JSON types.
        replaces: number of the entry in whose place it stands; None for a new one.
        addendum: whether the trial had been sealed before.
    """

    id: int
    trial_id: int
    what: What
    time_ns: int
    entered_ns: int
    by: str
    data: Mapping[str, Any] = field(default_factory=dict)
    replaces: int | None = None
    addendum: bool = False

    def to_json(self) -> dict[str, Any]:
        """As JSON types."""
        return {
            "id": self.id,
            "what": str(self.what),
            "time_ns": self.time_ns,
            "entered_ns": self.entered_ns,
            "by": self.by,
            "data": dict(self.data),
            "replaces": self.replaces,
            "addendum": self.addendum,
        }
