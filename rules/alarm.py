"""One alarm as it stands now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from rules.entry import plain
from rules.finding import Finding, Priority
from rules.grouping import Name
from rules.states import State


@dataclass(slots=True)
class Alarm:
    """One alarm as it stands now.

    Attributes:
        condition: whether what the rule looks for holds, seen or hidden.
        since_ns: when the state was entered.
        shelf_priority: the priority for which the shelf was granted.
        until_ns: end of the shelf.
        root: the alarm under which it is suppressed as a consequence; None when it is not.
    """

    rule: str
    subject: str
    state: State = State.NORMAL
    condition: bool = False
    priority: Priority = Priority.LOW
    sentence: str = ""
    advice: str = ""
    onset_ns: int = 0
    since_ns: int = 0
    evidence: Mapping[str, Any] = field(default_factory=dict)
    shelf_priority: Priority = Priority.LOW
    until_ns: int | None = None
    root: Name | None = None

    def take_over(self, finding: Finding) -> None:
        """Hold the newest finding's words."""
        self.priority, self.onset_ns = finding.priority, finding.onset_ns
        self.sentence, self.advice = finding.sentence, finding.advice
        self.evidence = finding.to_json()["evidence"]

    def to_json(self) -> dict[str, Any]:
        """Everything as JSON types."""
        made: dict[str, Any] = plain({**asdict(self), "state": str(self.state)})
        return made

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Alarm:
        """The alarm that ``to_json`` wrote; one of before alarms were grouped has no root."""
        ranks = {k: Priority(data[k]) for k in ("priority", "shelf_priority")}
        root = data.get("root")
        root = None if root is None else (root[0], root[1])
        return cls(**{**data, **ranks, "state": State(data["state"]), "root": root})
