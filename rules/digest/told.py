"""What people told: repairs, changed parts, notes, and what they did to alarms."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from rules.digest.places import place_of
from rules.entry import ActKind, Entry, EntryKind
from rules.seen.told import BLADE_CHANGED, KNIVES_CHANGED, SCREEN_CHANGED

SCREEN: Final = "filter.screen"
BLADE: Final = "filter.wiper.blade"
KNIVES: Final = "pelletizer.knife"

CHANGED: Final = {SCREEN_CHANGED: SCREEN, BLADE_CHANGED: BLADE, KNIVES_CHANGED: KNIVES}
"""Mark → the part that it says is a new one."""

_TAKEN_BACK: Final = "taken back: "
_ASKED: Final = {
    "shelve": "shelved",
    "out-of-service": "alarm taken out of service",
    "in-service": "alarm back in service",
}


@dataclass(frozen=True, slots=True)
class Repair:
    """Somebody said that a part was mended or changed.

    Attributes:
        part: path of the part.
        time_ns: when it was told, UTC nanoseconds.
        by: who, as told; empty for a mark.
        text: in that person's words.
    """

    part: str
    time_ns: int
    by: str
    text: str


@dataclass(frozen=True, slots=True)
class Deed:
    """What was done, for the record: a note, a mark, an alarm kept from sight."""

    time_ns: int
    text: str


def repairs_of(entries: Sequence[Entry]) -> list[Repair]:
    """The repairs and changed parts that the journal tells of, by time; no marks that were taken back."""
    found = []
    for entry in _standing(entries):
        if entry.data.get("what") == ActKind.REPAIRED:
            found.append(Repair(entry.subject, entry.time_ns, entry.by, str(entry.data["text"])))
        elif entry.data.get("what") == ActKind.MARK and entry.data["text"] in CHANGED:
            text = str(entry.data["text"])
            found.append(Repair(CHANGED[text], entry.time_ns, "", text))
    return sorted(found, key=lambda r: r.time_ns)


def deeds_of(entries: Sequence[Entry]) -> list[Deed]:
    """Notes, marks and what people did to alarms, by time and without names; no repairs."""
    found = [
        Deed(e.time_ns, str(e.data["text"]))
        for e in _standing(entries)
        if e.data.get("what") != ActKind.REPAIRED
    ]
    for entry in entries:
        did = _ASKED.get(str(entry.data.get("what"))) if entry.kind is EntryKind.ACT else None
        if did is not None:
            reason = str(entry.data.get("reason", ""))
            why = f": {reason}" if reason else ""
            found.append(Deed(entry.time_ns, f"{entry.rule}, {place_of(entry.subject)}: {did}{why}"))
    return sorted(found, key=lambda d: d.time_ns)


def _standing(entries: Iterable[Entry]) -> list[Entry]:
    """Notes and marks; neither those that were taken back nor the words that took them back."""
    notes = [e for e in entries if e.kind is EntryKind.NOTE]
    back = set()
    for note in notes:
        named = re.fullmatch(r"act ([0-9]+)", str(note.data.get("reason", "")))
        if named and _takes_back(note):
            back.add(int(named[1]))
    return [n for n in notes if not _takes_back(n) and n.data.get("act") not in back]


def _takes_back(note: Entry) -> bool:
    return str(note.data.get("text", "")).startswith(_TAKEN_BACK)
