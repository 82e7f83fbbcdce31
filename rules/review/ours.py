"""Reads the transitions of our own alarms into their histories."""

from __future__ import annotations

from typing import Final

from rules.entry import Entry
from rules.finding import Priority
from rules.review.history import OURS, OUT_OF_SERVICE, SHELVED, SUPPRESSED, AlarmHistory, AlarmName
from rules.states import State

_HIDDEN: Final = {
    State.SHELVED: SHELVED,
    State.SUPPRESSED: SUPPRESSED,
    State.OUT_OF_SERVICE: OUT_OF_SERVICE,
}


def take_transition(found: dict[AlarmName, AlarmHistory], entry: Entry) -> None:
    """Move the alarm's history on by one transition, as ``Transition.to_json`` wrote it."""
    data, at_ns = entry.data, entry.time_ns
    name = AlarmName(OURS, entry.rule, entry.subject)
    history = found.get(name)
    if history is None:
        history = found[name] = AlarmHistory(name, f"{entry.rule} of {entry.subject}")
    state, event = State(data["to"]), data["event"]
    history.set_active(bool(data["condition"]), at_ns)
    history.set_hidden(_HIDDEN.get(state), at_ns)
    if event == "seen":
        history.saw(at_ns)
    if state is State.UNACKNOWLEDGED and event != "news":
        grade = Priority(data["priority"]).name.lower()
        history.announce(at_ns, grade, came=event == "condition")
    for tag in (data.get("evidence") or {}).get("tags", ()):
        history.tags[tag] = None
