"""What a source is: something that delivers samples until it is cancelled, and comes back by itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Protocol

from collector.keeping.inbox import Inbox
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


@dataclass(frozen=True, slots=True)
class SourceCounts:
    """What a source has counted since it was made; every number but ``waiting`` only rises.

    A source fills what its protocol can tell and leaves the rest at 0. Times lost, lags and gaps are not its
    business: they are measured for all sources alike where samples are cut (``collector.keeping.flow``).

    Attributes:
        received: samples that arrived live, kept or not; a message with ten values counts ten.
        overflows: samples before which the source's own queue had run over (OPC UA: the overflow bit).
        missed: messages known to be lost on the way: a hole in the numbering, a sequence that jumped.
        rejected: values or messages that could not be read and were left out: malformed, of a wrong type,
            of an unknown alias, too large.
        unstamped: samples without a source time, kept under the server's time or that of arrival.
        reconnects: connections made after the first one.
        backfilled: samples that were fetched or delivered later to fill a gap.
        waiting: what waits just now: messages received that are not acknowledged yet, or nodes whose
            history is still to be read.
    """

    received: int = 0
    overflows: int = 0
    missed: int = 0
    rejected: int = 0
    unstamped: int = 0
    reconnects: int = 0
    backfilled: int = 0
    waiting: int = 0


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

    @property
    def counts(self) -> SourceCounts:
        """What it has counted so far; cheap, and may be asked for on any thread."""
        ...

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        """Deliver until cancelled; says every change of state to the sink."""
        ...
