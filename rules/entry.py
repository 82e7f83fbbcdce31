"""What the journal keeps: entries, and the acts of people that some of them tell of."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class EntryKind(StrEnum):
    """What an entry tells of."""

    FINDING = "finding"  # a detector saw something begin or end
    TRANSITION = "transition"  # an alarm went from one state to another
    ACT = "act"  # a person asked for something
    ACT_TAKEN = "act-taken"  # the second at which the life cycle took the act
    REFUSED = "refused"  # an act that the life cycle did not carry out
    EVENT = "event"  # something that is not a number: a source lost, a rule stopped
    NOTE = "note"  # a person's words, or a mark on the trial's timeline
    MACHINE = "machine"  # what a machine says of itself: its own alarms, which are never ours


class ActKind(StrEnum):
    """What a person may do."""

    SEEN = "seen"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    RESET = "reset"
    OUT_OF_SERVICE = "out-of-service"
    IN_SERVICE = "in-service"
    NOTE = "note"
    MARK = "mark"
    REPAIRED = "repaired"

    @property
    def needs_alarm(self) -> bool:
        """Whether the act is about an alarm (rule and subject)."""
        return self not in (ActKind.NOTE, ActKind.MARK, ActKind.REPAIRED)


@dataclass(frozen=True, slots=True)
class Act:
    """What a person did, or asked for.

    Attributes:
        id: number in the journal, rising; 0 before the journal has given one.
        time_ns: when, UTC nanoseconds.
        by: the person's account name.
        role: the account's role; ``engineer`` may do what others may not.
        what: the kind of act.
        rule, subject: the alarm it is about; empty for notes and marks. Of a repair: no rule, and the part.
        reason: why, in the person's words; shelving and taking out of service need one.
        until_ns: how long a shelf lasts, UTC nanoseconds; None for other acts.
        text: the words of a note, a mark or a repair.
    """

    id: int
    time_ns: int
    by: str
    role: str
    what: ActKind
    rule: str = ""
    subject: str = ""
    reason: str = ""
    until_ns: int | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the journal.

    Attributes:
        key: unique; the engine's keys follow from what was judged, so judging again gives the same ones.
        time_ns: UTC nanoseconds; of a finding: source time, otherwise the edge's time.
        kind: what it tells of.
        rule, subject: the alarm or rule it is about; empty where there is none. Of what a machine says: the
            source's name, and which of the machine's own alarms.
        by: who: a person's account, "rules", a source's name.
        data: the rest, as JSON types.
    """

    key: str
    time_ns: int
    kind: EntryKind
    rule: str = ""
    subject: str = ""
    by: str = ""
    data: Mapping[str, Any] = field(default_factory=dict)

    @property
    def second(self) -> int | None:
        """The whole second of arrival whose judging made the entry; None when the rules did not make it."""
        head = self.key.split("/", 1)[0]
        return int(head) if head.isdecimal() else None


def plain(value: Any) -> Any:
    """The value as JSON types: numpy scalars become Python's, NaN and infinities become None.

    Example:
        >>> plain({"a": (1, float("nan"))})
        {'a': [1, None]}
    """
    if value is None or isinstance(value, str | bool):
        return str(value) if isinstance(value, StrEnum) else value
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, Sequence):
        return [plain(v) for v in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, int):
        return int(value)
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    raise TypeError(f"{type(value).__name__} cannot stand in a journal entry")
