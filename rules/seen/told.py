"""What people tell of a line that no signal shows: marks, and what the laboratory found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan, nan
from typing import Any

SCREEN_CHANGED = "screen changed"
MATERIAL_CHANGED = "bale changed"
VENT_FLOW = "vent flow seen"
DIE_DROOL = "die drool seen"
KNIVES_CHANGED = "knives changed"
BLADE_CHANGED = "wiper blade changed"
ZERO_STATE = "zero state confirmed"
"""Marks by which rules go. That of the zero state says that a person has read the pressures for zero, by the
maker's procedure; it is no statement of ours that anything is free of pressure."""

_EVENTS = {
    "screen-change": SCREEN_CHANGED,
    "lot-change": MATERIAL_CHANGED,
    "knife-change": KNIVES_CHANGED,
    "blade-change": BLADE_CHANGED,
}

_STEPS = frozenset({ZERO_STATE, VENT_FLOW, DIE_DROOL, SCREEN_CHANGED, MATERIAL_CHANGED})


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that somebody told.

    Attributes:
        time_ns: when it was so, UTC nanoseconds.
        what: a mark as above, or a name of what the laboratory measured, such as ``lab tails``.
        value, unit: the laboratory's; NaN and empty for a mark.
    """

    time_ns: int
    what: str
    value: float = nan
    unit: str = ""

    def to_json(self) -> list[Any]:
        """As JSON types (NaN as null)."""
        return [self.time_ns, self.what, None if isnan(self.value) else self.value, self.unit]

    @classmethod
    def from_json(cls, saved: Any) -> Told:
        """What ``to_json`` gave."""
        return cls(saved[0], saved[1], nan if saved[2] is None else saved[2], saved[3])


def told_by(time_ns: int, kind: str, data: Mapping[str, Any]) -> list[Told]:
    """What an event tells the rules; nothing for most kinds.

    Args:
        kind, data: of a ``historian.Event``: a mark, a change that was noted, or a laboratory's result.
    """
    if kind == "mark":
        return [Told(time_ns, str(data.get("what", "")))]
    if kind == "lab-result":
        values = data.get("values", {})
        return [Told(time_ns, f"lab {name}", float(v["value"]), str(v["unit"])) for name, v in values.items()]
    if data.get("key") in _STEPS:
        return [Told(time_ns, str(data["key"]))]
    return [Told(time_ns, _EVENTS[kind])] if kind in _EVENTS else []
