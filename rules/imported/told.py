"""Turns what a panel's list says into entries of the journal: in the form of what a machine tells live."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from rules.entry import Entry, EntryKind
from rules.imported.listed import Happening
from rules.imported.vocabulary import Said
from rules.severity import class_of_severity

_STANDS = "machine-alarm"
_ONLY_SAID = "machine-event"


@dataclass(slots=True)
class _Alarm:
    """How an alarm of the list stands, as far as the list has told."""

    active: bool = False
    acked: bool = True


def entries_of(happenings: Iterable[Happening], *, origin: str, file: str) -> list[Entry]:
    """The entries of what happened, each once.

    The same line again, from this file or from one that overlaps with it, has the same key. None of these
    alarms stands: whether it still does when the list is imported is not known.

    Args:
        happenings: in the order of their times.
        origin: who says so; the name under which the list is kept.
        file: its name.
    """
    alarms: dict[str, _Alarm] = {}
    made: dict[str, Entry] = {}
    for one in happenings:
        condition = f"list:{one.number or one.text}"
        key = f"imported/{_digest(origin, one)}"
        if key in made:
            continue
        changes = (
            ("told",) if one.said is None else _changes(alarms.setdefault(condition, _Alarm()), one.said)
        )
        alarm = alarms.get(condition)
        state = (False, True) if alarm is None else (alarm.active, alarm.acked)
        data = _data(one, condition, state, changes) | {"list": {"file": file, "line": one.line}}
        kind = _ONLY_SAID if one.said is None else _STANDS
        content = {"kind": kind, "text": _sentence(one, changes), "data": data}
        made[key] = Entry(key, one.time_ns, EntryKind.MACHINE, origin, condition, origin, content)
    return list(made.values())


def _digest(origin: str, one: Happening) -> str:
    said = "" if one.said is None else f"{one.said.active}/{one.said.acked}"
    words = "\x1f".join((origin, str(one.time_ns), one.number, one.text, one.area, said))
    return hashlib.sha256(words.encode("utf-8")).hexdigest()[:32]


def _changes(alarm: _Alarm, said: Said) -> tuple[str, ...]:
    """What is new in the alarm's state, in the words of the machines' own alarms; moves the alarm on."""
    came = said.active is True and not (alarm.active and said.acked)
    returned = said.active is False and (alarm.active or not said.acked)
    acked = bool(said.acked) and (came or not alarm.acked or said.active is None)
    alarm.active = alarm.active if said.active is None else said.active
    alarm.acked = alarm.acked if said.acked is None else said.acked
    words = (("came", came), ("returned", returned), ("acknowledged", acked))
    return tuple(word for word, so in words if so) or ("told again",)


def _data(
    one: Happening, condition: str, state: tuple[bool, bool], changes: tuple[str, ...]
) -> dict[str, Any]:
    active, acked = state
    return {
        "condition": condition,
        "source_name": one.area,
        "name": one.number or one.text,
        "alarm_class": one.alarm_class,
        "severity": one.severity,
        "severity_class": class_of_severity(one.severity),
        "active": active,
        "acked": acked,
        "retain": False,
        "message": one.text,
        "event_id": "",
        "time_ns": one.time_ns,
        "by": one.by,
        "changes": list(changes),
    }


def _sentence(one: Happening, changes: tuple[str, ...]) -> str:
    of = f" of {one.area}" if one.area else ""
    by = f" by {one.by}" if one.by and "acknowledged" in changes else ""
    name = one.number or one.text
    text = f" {one.text}" if one.number and one.text else ""
    severity = f" (The machine's severity: {one.severity} of 1000.)" if one.severity else ""
    return f"The machine's own alarm {name}{of}, from a list: {', '.join(changes)}{by}.{text}{severity}"
