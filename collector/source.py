"""What a source is: something that delivers samples until it is cancelled, and comes back by itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Protocol

from collector.inbox import Inbox
from historian.event import EventSink


class SourceState(StrEnum):
    """How a source stands."""

    WAITING = "waiting"  # has never answered since the start
    CONNECTED = "connected"
    LOST = "lost"  # has answered before and does not now
    REFUSED = "refused"  # answers, but is not what the line's file says


@dataclass(frozen=True, slots=True)
class SourceStatus:
    """How a source stands, as the page shows it and as events carry it.

    Attributes:
        name: of the source.
        state: one of the four.
        since_ns: when it came into this state, UTC nanoseconds.
        text: one sentence for a person: what, where, and the remedy if something is wrong.
        samples: how many it has delivered since the start.
        unknown: tags whose node the source does not know, or that were refused.
    """

    name: str
    state: SourceState
    since_ns: int
    text: str = ""
    samples: int = 0
    unknown: tuple[str, ...] = ()

    def to_json(self) -> Mapping[str, Any]:
        """The status as JSON types."""
        return {
            "name": self.name,
            "state": str(self.state),
            "since_ns": self.since_ns,
            "text": self.text,
            "samples": self.samples,
            "unknown": list(self.unknown),
        }


class Source(Protocol):
    """Delivers samples into the inbox; reconnects by itself."""

    @property
    def name(self) -> str:
        """The source's name, as tags carry it."""
        ...

    @property
    def status(self) -> SourceStatus:
        """How it stands now."""
        ...

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        """Deliver until cancelled; says every change of state to the sink."""
        ...
