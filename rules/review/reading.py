"""Reads the journal's entries into histories, and what the journal says of times without record."""

from __future__ import annotations

from collections.abc import Iterable

from rules.entry import Entry, EntryKind
from rules.review.history import AlarmHistory, AlarmName
from rules.review.machines import take_machine_entry
from rules.review.ours import take_transition
from rules.review.spells import Spell

_GAP = "recording-gap"


def histories(entries: Iterable[Entry]) -> list[AlarmHistory]:
    """What became of each alarm that the entries tell of, in the order of first mention.

    Args:
        entries: transitions and what machines say of themselves, in the order of their times, from the
            beginning of the journal; others are passed over.
    """
    found: dict[AlarmName, AlarmHistory] = {}
    for entry in entries:
        if entry.kind is EntryKind.TRANSITION:
            take_transition(found, entry)
        elif entry.kind is EntryKind.MACHINE:
            take_machine_entry(found, entry)
    return list(found.values())


def unrecorded(entries: Iterable[Entry]) -> list[Spell]:
    """When nothing was recorded, by the findings of the rule ``recording-gap``: no alarm could be raised."""
    found = []
    for entry in entries:
        if entry.kind is EntryKind.FINDING and entry.rule == _GAP and entry.data.get("active"):
            seen = entry.data["evidence"]
            found.append(Spell(int(seen["start_ns"]), int(seen["end_ns"])))
    return found
