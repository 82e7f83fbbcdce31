"""The life of every alarm: findings and people's acts go in, changes of state and refusals come out.

The states and what leads from one to another stand in ``rules.states``, who may act and for how long in
``rules.permission``; here stands which findings make an alarm at all. Pure: all times are arguments.

Late, momentary and journal-only findings never make a standing alarm.
A refused act changes nothing. An alarm that is a consequence of another one (``rules.grouping``) is
suppressed by design under its root: it goes on to be told in the journal, but it is not announced.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from rules.alarm import Alarm
from rules.entry import Act, ActKind, plain
from rules.finding import Finding, Priority
from rules.grouping import Name
from rules.permission import objection
from rules.states import HIDDEN, TABLE, AlarmEvent, State


@dataclass(frozen=True, slots=True)
class Transition:
    """An alarm's change of state (or newer words for the same state: ``before`` is ``after``).

    Attributes:
        time_ns: the edge's time, UTC nanoseconds.
        since_ns: when the state ``after`` was entered.
        onset_ns: when the condition is thought to have begun; evidence: see ``Finding``.
        act_id, by, reason: the act that led to it; 0 and "rules" when none did.
        until_ns: end of the shelf.
        root: the alarm of which this one is a consequence; None when it is none.
    """

    rule: str
    subject: str
    time_ns: int
    before: State
    after: State
    event: AlarmEvent
    condition: bool
    priority: Priority
    sentence: str
    advice: str
    onset_ns: int
    since_ns: int
    evidence: Mapping[str, Any]
    act_id: int = 0
    by: str = "rules"
    reason: str = ""
    until_ns: int | None = None
    root: Name | None = None

    def to_json(self) -> dict[str, Any]:
        """What a journal entry keeps of it beside time, rule and subject."""
        return {
            "from": str(self.before),
            "to": str(self.after),
            "event": self.event.name.lower().replace("_", "-"),
            "condition": self.condition,
            "priority": int(self.priority),
            "sentence": self.sentence,
            "advice": self.advice,
            "onset_ns": self.onset_ns,
            "since_ns": self.since_ns,
            "evidence": plain(self.evidence),
            "act": self.act_id,
            "by": self.by,
            "reason": self.reason,
            "until_ns": self.until_ns,
            "root": self.root and list(self.root),
        }


@dataclass(frozen=True, slots=True)
class Refusal:
    """An act that was not carried out, and why, in a sentence for the person who asked."""

    act: Act
    time_ns: int
    reason: str


class LifeCycle:
    """All alarms of a line by rule and subject.

    Args:
        latching: names of rules whose alarms stay until they are reset, though the condition is gone.
    """

    def __init__(self, latching: Collection[str] = ()) -> None:
        self.latching = frozenset(latching)
        self._alarms: dict[tuple[str, str], Alarm] = {}
        self._consequences: set[Name] = set()  # those that are suppressed under a root
        self._out_of_service: set[Name] = set()

    def state(self, rule: str, subject: str) -> State:
        """Where an alarm stands; one that was never raised is normal."""
        alarm = self._alarms.get((rule, subject))
        return State.NORMAL if alarm is None else alarm.state

    def out_of_service(self) -> frozenset[Name]:
        """The alarms that are out of service: nobody goes by them."""
        return frozenset(self._out_of_service)

    def finding(self, finding: Finding, at_ns: int, root: Name | None = None) -> list[Transition]:
        """What a finding changes.

        Args:
            root: the alarm of which this one is a consequence: it is not announced then.
        """
        if finding.late or finding.momentary:
            return []
        alarm = self._alarms.get((finding.rule, finding.subject))
        if not finding.active:
            return [] if alarm is None or not alarm.condition else [self._clear(alarm, at_ns)]
        if finding.priority is Priority.JOURNAL:
            return []
        if alarm is None:
            alarm = self._alarms[finding.rule, finding.subject] = Alarm(finding.rule, finding.subject)
        return self._raise(alarm, finding, at_ns, root)

    def act(self, act: Act, at_ns: int) -> list[Transition | Refusal]:
        """What a person's act changes, or why it does not; notes and marks change nothing."""
        if not act.what.needs_alarm:
            return []
        alarm = self._alarms.get((act.rule, act.subject))
        if alarm is None:
            return [Refusal(act, at_ns, f"no alarm '{act.rule}' of '{act.subject}' has ever been raised")]
        event = _event_of(act.what, alarm)
        if (alarm.state, event) not in TABLE:
            return [Refusal(act, at_ns, f"'{act.what}' does nothing to an alarm that is {alarm.state.words}")]
        reason = objection(act, alarm.priority, at_ns)
        if reason:
            return [Refusal(act, at_ns, reason)]
        if event is AlarmEvent.SHELVED:
            alarm.until_ns, alarm.shelf_priority = act.until_ns, alarm.priority
        return [self._move(alarm, event, at_ns, act.id, act.by, act.reason)]

    def suppress(self, rule: str, subject: str, on: bool, at_ns: int, reason: str) -> list[Transition]:
        """Suppression by design begins or ends, as the line's design says."""
        alarm = self._alarms.setdefault((rule, subject), Alarm(rule, subject))
        if alarm.root is not None:
            return []  # it is suppressed under its root already, and until that is over
        end = AlarmEvent.UNSUPPRESSED_TRUE if alarm.condition else AlarmEvent.UNSUPPRESSED
        event = AlarmEvent.SUPPRESSED if on else end
        if (alarm.state, event) not in TABLE:
            return []
        return [self._move(alarm, event, at_ns, reason=reason)]

    def group(self, roots: Mapping[Name, Name], at_ns: int) -> list[Transition]:
        """Consequences that stand are suppressed under their roots; those that are none any more come back.

        Args:
            roots: consequence → its root, for all of them.
        """
        moves: list[Transition] = []
        for name in sorted(roots.keys() | self._consequences):
            alarm = self._alarms.get(name)
            if alarm is None:
                continue
            root = roots.get(name) if alarm.condition else None
            if root is not None:
                moves += self._under(alarm, root, at_ns)
            elif alarm.root is not None:
                event = AlarmEvent.UNSUPPRESSED_TRUE if alarm.condition else AlarmEvent.UNSUPPRESSED
                why = "it still stands" if alarm.condition else "it is over"
                reason = f"{why}, and is no consequence of {_called(alarm.root)} any more"
                alarm.root = None
                self._consequences.discard(name)
                moves.append(self._move(alarm, event, at_ns, reason=reason))
        return moves

    def advance(self, now_ns: int) -> list[Transition]:
        """Shelves whose time is over end."""
        over = [a for a in self._alarms.values() if a.until_ns is not None and a.until_ns <= now_ns]
        return [self._unshelve(a, now_ns, "the shelf's time is over") for a in sorted(over, key=_name)]

    def begin_anew(self, at_ns: int) -> list[Transition]:
        """Every condition counts as gone until it is found again: the rules have lost what they knew."""
        return [self._clear(a, at_ns) for a in sorted(self._alarms.values(), key=_name) if a.condition]

    def save(self) -> dict[str, Any]:
        """Every alarm as JSON types."""
        return {"alarms": [a.to_json() for a in sorted(self._alarms.values(), key=_name)]}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        alarms = [Alarm.from_json(saved) for saved in state["alarms"]]
        self._alarms = {_name(a): a for a in alarms}
        self._consequences = {n for n, a in self._alarms.items() if a.root is not None}
        self._out_of_service = {n for n, a in self._alarms.items() if a.state is State.OUT_OF_SERVICE}

    def _under(self, alarm: Alarm, root: Name, at_ns: int) -> list[Transition]:
        """Suppress a consequence, or say that its root is another one now; a hidden alarm stays hidden."""
        if alarm.root == root:
            return []
        event = AlarmEvent.SUPPRESSED if alarm.root is None else AlarmEvent.NEWS
        if (alarm.state, event) not in TABLE:
            return []
        alarm.root = root
        self._consequences.add(_name(alarm))
        return [self._move(alarm, event, at_ns)]

    def _raise(self, alarm: Alarm, finding: Finding, at_ns: int, root: Name | None) -> list[Transition]:
        was_true, graver = alarm.condition, finding.priority > alarm.priority
        news = graver or (finding.priority, finding.sentence) != (alarm.priority, alarm.sentence)
        alarm.condition = True
        alarm.take_over(finding)
        moves = [] if root is None else self._under(alarm, root, at_ns)
        if not was_true:
            moves.append(self._move(alarm, AlarmEvent.CONDITION, at_ns))
        elif graver and alarm.state is State.ACKNOWLEDGED:
            moves.append(self._move(alarm, AlarmEvent.RE_ALARM, at_ns))
        elif news:
            moves.append(self._move(alarm, AlarmEvent.NEWS, at_ns))
        if alarm.state is State.SHELVED and finding.priority > alarm.shelf_priority:
            moves.append(
                self._unshelve(alarm, at_ns, "the condition is graver than the one that was shelved")
            )
        return moves

    def _clear(self, alarm: Alarm, at_ns: int) -> Transition:
        alarm.condition = False
        latches = alarm.rule in self.latching and alarm.state not in HIDDEN
        return self._move(alarm, AlarmEvent.CLEARED_LATCHING if latches else AlarmEvent.CLEARED, at_ns)

    def _unshelve(self, alarm: Alarm, at_ns: int, reason: str) -> Transition:
        event = AlarmEvent.UNSHELVED_TRUE if alarm.condition else AlarmEvent.UNSHELVED
        return self._move(alarm, event, at_ns, reason=reason)

    def _move(
        self,
        alarm: Alarm,
        event: AlarmEvent,
        at_ns: int,
        act_id: int = 0,
        by: str = "rules",
        reason: str = "",
    ) -> Transition:
        before = alarm.state
        alarm.state = TABLE[before, event]
        if alarm.state is not before or event is AlarmEvent.RE_ALARM:
            alarm.since_ns = at_ns
        if alarm.state is not State.SHELVED:
            alarm.until_ns = None
        if alarm.state is State.OUT_OF_SERVICE:
            self._out_of_service.add(_name(alarm))
        elif before is State.OUT_OF_SERVICE:
            self._out_of_service.discard(_name(alarm))
        words = (
            alarm.condition,
            alarm.priority,
            alarm.sentence,
            alarm.advice,
            alarm.onset_ns,
            alarm.since_ns,
        )
        if not reason and alarm.root is not None:
            reason = f"a consequence of {_called(alarm.root)}"
        name = (alarm.rule, alarm.subject, at_ns, before, alarm.state, event)
        return Transition(*name, *words, alarm.evidence, act_id, by, reason, alarm.until_ns, alarm.root)


def _name(alarm: Alarm) -> tuple[str, str]:
    return alarm.rule, alarm.subject


def _called(name: Name) -> str:
    return f"{name[0]} of {name[1]}"


def _event_of(what: ActKind, alarm: Alarm) -> AlarmEvent:
    true = alarm.condition
    return {
        ActKind.SEEN: AlarmEvent.SEEN,
        ActKind.RESET: AlarmEvent.RESET,
        ActKind.SHELVE: AlarmEvent.SHELVED,
        ActKind.UNSHELVE: AlarmEvent.UNSHELVED_TRUE if true else AlarmEvent.UNSHELVED,
        ActKind.OUT_OF_SERVICE: AlarmEvent.TAKEN_OUT,
        ActKind.IN_SERVICE: AlarmEvent.PUT_BACK_TRUE if true else AlarmEvent.PUT_BACK,
    }[what]
