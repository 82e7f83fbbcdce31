"""By when a finding wants hands, and how long it stays on the list.

Which rule is whose work is common practice, no source; a rule that is not named here goes by its priority and
stays until somebody has said that it is done.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import IntEnum, StrEnum
from typing import Final

from rules.finding import Priority


class Deadline(IntEnum):
    """By when; the smaller, the sooner."""

    NOW = 1
    NEXT_STOP = 2
    THIS_WEEK = 3

    @property
    def words(self) -> str:
        """As a person reads it."""
        return {1: "now", 2: "next stop", 3: "this week"}[self]


class Stays(StrEnum):
    """How long a finding is work."""

    UNTIL_DONE = "until somebody says that it is done"
    WHILE_IT_STANDS = "while it stands"
    NEVER = "never"


_BY_PRIORITY: Final[Mapping[Priority, Deadline]] = {
    Priority.HIGH: Deadline.NOW,
    Priority.MEDIUM: Deadline.NEXT_STOP,
    Priority.LOW: Deadline.THIS_WEEK,
}

_AT_A_STOP: Final = (
    "heater-weak",
    "probe-detached",
    "cleaning-weak",
    "knife-worn",
    "pressure-creep",
    "die-drool",
)
"""Rules of low priority whose part can be reached only when the line stands."""

_AT_ONCE: Final = ("source-silent",)
"""Nothing is recorded meanwhile, and no stop is needed for it."""

_WHILE_IT_STANDS: Final = (
    "heater-supply",
    "plates-uneven",
    "pressure-high",
    "pressure-creep",
    "cleaning-overdue",
    "source-silent",
    "samples-missing",
    "clock-off",
    "feed-starved",
    "surging",
    "foaming",
    "vent-vacuum",
    "extruder-cold",
    "drive-overload",
    "die-frozen",
    "die-drool",
    "pellet-length",
    "water-temperature",
    "water-flow",
    "dryer-overload",
)
"""What is over when the line has changed, without anything having been repaired."""

_NEVER: Final = ("dirt-step", "melt-changed", "soak-short", "material-residue", "recording-gap")
"""What tells of the material, the handling or the record, and of no part."""


def deadline_of(rule: str, priority: Priority) -> Deadline:
    """By when somebody should see to it: by its priority, or sooner where the rule says so.

    Example:
        >>> deadline_of("heater-weak", Priority.LOW).words, deadline_of("wiper-slipping", Priority.HIGH).words
        ('next stop', 'now')
    """
    by_rule = Deadline.NOW if rule in _AT_ONCE else Deadline.THIS_WEEK
    if rule in _AT_A_STOP:
        by_rule = Deadline.NEXT_STOP
    return min(by_rule, _BY_PRIORITY.get(priority, Deadline.THIS_WEEK))


def stays(rule: str, priority: Priority) -> Stays:
    """How long a finding of a rule is work; what is only an entry in the journal never is."""
    if priority is Priority.JOURNAL or rule in _NEVER:
        return Stays.NEVER
    return Stays.WHILE_IT_STANDS if rule in _WHILE_IT_STANDS else Stays.UNTIL_DONE
