"""The states of an alarm and the table of what leads from one to another.

Two rules hold for this table:

1. Every change of an alarm's state goes through it; what is not in it does not happen.
2. It knows nothing of times, roles and priorities: whether an act is permitted is the life cycle's question.

Source: the state figure of ANSI/ISA-18.2 and IEC 62682, written down from memory, letters A to I as there.
Derived here: the self-loops of the hidden states, NEWS, and E back to B.
"""

from __future__ import annotations

from enum import StrEnum


class State(StrEnum):
    """Where an alarm stands; the value is its letter in the standard's figure."""

    NORMAL = "A"
    UNACKNOWLEDGED = "B"
    ACKNOWLEDGED = "C"
    RETURNED = "D"
    LATCHED = "E"
    LATCHED_ACKNOWLEDGED = "F"
    SHELVED = "G"
    SUPPRESSED = "H"
    OUT_OF_SERVICE = "I"

    @property
    def words(self) -> str:
        """The state as a person reads it."""
        return _STATE_WORDS[self]

    @property
    def hidden(self) -> bool:
        """Whether the alarm is kept from sight: shelved, suppressed by design or out of service."""
        return self in HIDDEN

    @property
    def announced(self) -> bool:
        """Whether it asks for somebody; a return that nobody has seen may."""
        return self in (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED)


class AlarmEvent(StrEnum):
    """What happens to an alarm; the value is how a person reads it."""

    CONDITION = "condition true"
    CLEARED = "condition gone"
    CLEARED_LATCHING = "condition gone, latching"
    RE_ALARM = "re-alarm: the condition became graver"
    NEWS = "newer words for the same condition"
    SEEN = "seen"
    RESET = "reset"
    SHELVED = "shelved"
    UNSHELVED = "shelf ended, condition gone"
    UNSHELVED_TRUE = "shelf ended, condition true"
    SUPPRESSED = "suppression by design began"
    UNSUPPRESSED = "suppression by design ended, condition gone"
    UNSUPPRESSED_TRUE = "suppression by design ended, condition true"
    TAKEN_OUT = "taken out of service"
    PUT_BACK = "back in service, condition gone"
    PUT_BACK_TRUE = "back in service, condition true"


HIDDEN = (State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE)

_STATE_WORDS = {
    State.NORMAL: "normal",
    State.UNACKNOWLEDGED: "unacknowledged",
    State.ACKNOWLEDGED: "acknowledged",
    State.RETURNED: "returned, unacknowledged",
    State.LATCHED: "latched, unacknowledged",
    State.LATCHED_ACKNOWLEDGED: "latched, acknowledged",
    State.SHELVED: "shelved",
    State.SUPPRESSED: "suppressed by design",
    State.OUT_OF_SERVICE: "out of service",
}

_SHOWN = tuple(s for s in State if s not in HIDDEN)

TABLE: dict[tuple[State, AlarmEvent], State] = {
    (State.NORMAL, AlarmEvent.CONDITION): State.UNACKNOWLEDGED,
    (State.UNACKNOWLEDGED, AlarmEvent.SEEN): State.ACKNOWLEDGED,
    (State.UNACKNOWLEDGED, AlarmEvent.CLEARED): State.RETURNED,
    (State.UNACKNOWLEDGED, AlarmEvent.CLEARED_LATCHING): State.LATCHED,
    (State.UNACKNOWLEDGED, AlarmEvent.NEWS): State.UNACKNOWLEDGED,
    (State.ACKNOWLEDGED, AlarmEvent.CLEARED): State.NORMAL,
    (State.ACKNOWLEDGED, AlarmEvent.CLEARED_LATCHING): State.LATCHED_ACKNOWLEDGED,
    (State.ACKNOWLEDGED, AlarmEvent.RE_ALARM): State.UNACKNOWLEDGED,
    (State.ACKNOWLEDGED, AlarmEvent.NEWS): State.ACKNOWLEDGED,
    (State.RETURNED, AlarmEvent.SEEN): State.NORMAL,
    (State.RETURNED, AlarmEvent.CONDITION): State.UNACKNOWLEDGED,
    (State.LATCHED, AlarmEvent.SEEN): State.LATCHED_ACKNOWLEDGED,
    (State.LATCHED, AlarmEvent.RESET): State.RETURNED,
    (State.LATCHED, AlarmEvent.CONDITION): State.UNACKNOWLEDGED,
    (State.LATCHED_ACKNOWLEDGED, AlarmEvent.RESET): State.NORMAL,
    (State.LATCHED_ACKNOWLEDGED, AlarmEvent.CONDITION): State.UNACKNOWLEDGED,
    **{(state, AlarmEvent.SHELVED): State.SHELVED for state in _SHOWN},
    (State.SHELVED, AlarmEvent.UNSHELVED): State.NORMAL,
    (State.SHELVED, AlarmEvent.UNSHELVED_TRUE): State.UNACKNOWLEDGED,
    **{(state, AlarmEvent.SUPPRESSED): State.SUPPRESSED for state in _SHOWN},
    (State.SUPPRESSED, AlarmEvent.UNSUPPRESSED): State.NORMAL,
    (State.SUPPRESSED, AlarmEvent.UNSUPPRESSED_TRUE): State.UNACKNOWLEDGED,
    **{(state, AlarmEvent.TAKEN_OUT): State.OUT_OF_SERVICE for state in _SHOWN},
    (State.OUT_OF_SERVICE, AlarmEvent.PUT_BACK): State.NORMAL,
    (State.OUT_OF_SERVICE, AlarmEvent.PUT_BACK_TRUE): State.UNACKNOWLEDGED,
    # A hidden alarm still follows its condition, so that nobody is told of old news when it comes back.
    **{
        (state, event): state
        for state in HIDDEN
        for event in (AlarmEvent.CONDITION, AlarmEvent.CLEARED, AlarmEvent.CLEARED_LATCHING, AlarmEvent.NEWS)
    },
}


def table_as_markdown() -> str:
    """The table as Markdown, for the page that developers read."""
    rows = ["| state | what happens | next state |", "|---|---|---|"]
    order = list(AlarmEvent)
    for (state, event), after in sorted(TABLE.items(), key=lambda row: (row[0][0], order.index(row[0][1]))):
        rows.append(f"| {state} {state.words} | {event} | {after} {after.words} |")
    return "\n".join(rows) + "\n"
