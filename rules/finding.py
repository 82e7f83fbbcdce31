"""What a detector says: something began or ended, with the evidence that convinced it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import IntEnum
from typing import Any


class Priority(IntEnum):
    """How soon a person is needed."""

    HIGH = 4  # now
    MEDIUM = 3  # soon: within ten minutes
    LOW = 2  # when you can
    JOURNAL = 1  # nobody: an entry in the journal


@dataclass(frozen=True, slots=True)
class Evidence:
    """The window and the figures that convinced the detector.

    Attributes:
        start_ns, end_ns: the window that was looked at, UTC nanoseconds of source time.
        tags: paths of the signals that show it.
        figures: name → (value, unit), each worth reading by a person.
    """

    start_ns: int
    end_ns: int
    tags: tuple[str, ...]
    figures: Mapping[str, tuple[float, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Finding:
    """A condition began (``active``) or ended.

    Attributes:
        rule: which rule, for example ``heater-power``.
        subject: what it is about, a path without its ending: ``filter.plate.5``.
        active: True when the condition began, False when it ended.
        time_ns: source time of the sample that decided, UTC nanoseconds.
        onset_ns: when the condition is thought to have begun.
        priority: how soon a person is needed.
        sentence: one sentence for a foreman: what is seen, what is not known.
        advice: what a person may do, and whose decision it is; never an order to run a machine.
        evidence: what convinced the detector.
        momentary: it has no end of its own (a power cut that is over): an entry, no standing alarm.
        late: found in samples that arrived after newer ones had been judged.
    """

    rule: str
    subject: str
    active: bool
    time_ns: int
    onset_ns: int
    priority: Priority
    sentence: str
    advice: str
    evidence: Evidence
    momentary: bool = False
    late: bool = False

    def to_json(self) -> dict[str, Any]:
        """Everything as JSON types."""
        data = asdict(self)
        data["priority"] = int(self.priority)
        data["evidence"]["tags"] = list(self.evidence.tags)
        data["evidence"]["figures"] = {k: list(v) for k, v in self.evidence.figures.items()}
        return data

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Finding:
        """The finding that ``to_json`` wrote."""
        seen = data["evidence"]
        evidence = Evidence(
            seen["start_ns"],
            seen["end_ns"],
            tuple(seen["tags"]),
            {k: (v[0], v[1]) for k, v in seen["figures"].items()},
        )
        return cls(**{**data, "priority": Priority(data["priority"]), "evidence": evidence})


@dataclass(frozen=True, slots=True)
class Blind:
    """A spell in which a rule could not judge a subject: never a good one.

    Attributes:
        rule, subject: see ``Finding``; the subject is empty when it is the whole rule.
        from_ns, to_ns: the spell, UTC nanoseconds of source time.
        why: what was missing, in a few words.
    """

    rule: str
    subject: str
    from_ns: int
    to_ns: int
    why: str

    @property
    def time_ns(self) -> int:
        """When it was known: at its end."""
        return self.to_ns

    def to_json(self) -> dict[str, Any]:
        """Everything as JSON types."""
        return asdict(self)
