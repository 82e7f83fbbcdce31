"""Every change of a setting: found in the tags, with what people wrote of it; and by hand. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from historian.frame import NS
from historian.units import shown_unit
from trials.record.entries import Entry, What
from trials.segments import SettingChange

NEAR_NS: Final = 300 * NS
"""What is written of a change within this time of it belongs to it. common practice, no source."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One change.

    Attributes:
        what: tag of the set-point, or what was turned by hand.
        before, after: with their units; empty where not told.
        why, by: what was written of it; empty: nobody has written anything.
        found: whether a tag shows it.
        entry: number of the record's entry; None where there is none.
    """

    time_ns: int
    what: str
    before: str
    after: str
    why: str = ""
    by: str = ""
    found: bool = True
    entry: int | None = None


def settings_of(changes: Iterable[SettingChange], entries: Iterable[Entry]) -> list[Setting]:
    """The changes of a trial in the order of time; what was written belongs to the nearest change of its tag.

    Args:
        entries: that stand in the record; those of other forms are passed over.
    """
    found = sorted(changes, key=lambda c: (c.time_ns, c.path))
    written = [e for e in entries if e.what is What.SETTING]
    of_change: dict[int, Entry] = {}
    alone: list[Entry] = []
    for entry in written:
        near = [
            (abs(c.time_ns - entry.time_ns), n)
            for n, c in enumerate(found)
            if c.path == entry.data["what"] and n not in of_change
        ]
        distance_ns, place = min(near, default=(NEAR_NS + 1, -1))
        if distance_ns <= NEAR_NS:
            of_change[place] = entry
        else:
            alone.append(entry)
    settings = [_found(change, of_change.get(n)) for n, change in enumerate(found)]
    settings += [_by_hand(entry) for entry in alone]
    return sorted(settings, key=lambda s: (s.time_ns, s.what))


def _found(change: SettingChange, entry: Entry | None) -> Setting:
    unit = "" if change.unit == "1" else f" {shown_unit(change.unit)}"
    before, after = f"{change.old:g}{unit}", f"{change.new:g}{unit}"
    if entry is None:
        return Setting(change.time_ns, change.path, before, after)
    return Setting(
        change.time_ns, change.path, before, after, str(entry.data["why"]), entry.by, entry=entry.id
    )


def _by_hand(entry: Entry) -> Setting:
    data = entry.data
    return Setting(
        entry.time_ns,
        str(data["what"]),
        str(data.get("before", "")),
        str(data.get("after", "")),
        str(data["why"]),
        entry.by,
        found=False,
        entry=entry.id,
    )
