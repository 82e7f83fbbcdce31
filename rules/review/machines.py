"""Reads what machines say of their own alarms into histories: each machine is an origin of its own.

Texts without begin and end (kind "machine-event") are no alarms and are passed over.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from rules.entry import Entry
from rules.review.history import OUT_OF_SERVICE, SHELVED, SUPPRESSED, AlarmHistory, AlarmName
from rules.severity import class_of_severity

_ALARM: Final = "machine-alarm"
_GONE: Final = "not standing any more after the gap"
"""What ``collector.machine_alarms`` says of an alarm that was over when the machine could be heard again."""


def take_machine_entry(found: dict[AlarmName, AlarmHistory], entry: Entry) -> None:
    """Move the history of a machine's alarm on by the machine's word, as ``MachineAlarm.to_json`` wrote
    it."""
    if entry.data.get("kind") != _ALARM:
        return
    data: Mapping[str, Any] = entry.data["data"]
    name, at_ns = AlarmName(entry.rule, "", entry.subject), entry.time_ns
    history = found.get(name)
    if history is None:
        history = found[name] = AlarmHistory(name, _label(data, entry.subject))
    changes = data.get("changes", ())
    came = "came" in changes
    active, hidden = bool(data.get("active")), _hidden(data)
    was_shown = history.is_active and not any(s and s[-1].end_ns is None for s in history.hidden.values())
    if came:  # its end was never told where it stood already
        history.set_active(False, at_ns, end_known=False)
    history.set_active(active, at_ns, end_known=_GONE not in changes)
    history.set_hidden(hidden, at_ns)
    acked = bool(data.get("acked", True))
    asks_again = "to be acknowledged again" in changes
    if active and hidden is None and (came or asks_again or not was_shown):
        grade = class_of_severity(int(data.get("severity") or 0))
        history.announce(at_ns, grade, came=came, waits=not acked)
    elif acked:
        history.saw(at_ns)


def _hidden(data: Mapping[str, Any]) -> str | None:
    if data.get("enabled") is False:
        return OUT_OF_SERVICE
    if data.get("shelved"):
        return SHELVED
    return SUPPRESSED if data.get("suppressed") else None


def _label(data: Mapping[str, Any], subject: str) -> str:
    name, of, message = (str(data.get(key) or "") for key in ("name", "source_name", "message"))
    words = name or subject
    if of and of not in words:
        words = f"{words} of {of}"
    return f"{words}: {message}" if message and message != name else words
