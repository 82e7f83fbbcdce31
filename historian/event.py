"""What happens that is not a number: recipes, state texts, notes, a source lost and found."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at a time.

    Attributes:
        time_ns: UTC nanoseconds since 1970.
        source: who says so: a source's name, a person's role, "edge".
        kind: a short word such as "source-lost", "unknown-node", "note", "trial-opened".
        text: one sentence for a person: what, where, and the remedy if something is wrong.
        data: figures and names for machines; JSON types only.
    """

    time_ns: int
    source: str
    kind: str
    text: str
    data: Mapping[str, Any] = field(default_factory=dict)


EventSink = Callable[[Event], None]
"""Where events go; the wiring hands it over (in a running line: the journal)."""
