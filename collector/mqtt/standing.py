"""How a source at a broker stands, and what is said of it when that changes."""

from __future__ import annotations

from collections.abc import Mapping

import structlog

from collector.clock import Clock
from collector.errors import SourceAway, SourceRefused
from collector.source import SourceState, SourceStatus
from historian.event import Event, EventSink

_log = structlog.get_logger(__name__)


class Standing:
    """The state of one source; every change of it is told once.

    Args:
        name: of the source.
        clock: the edge's.

    Attributes:
        status: how it stands now.
        sink: where that is told.
    """

    def __init__(self, name: str, clock: Clock) -> None:
        self._name, self._clock = name, clock
        self.sink: EventSink = lambda event: None
        self.status = SourceStatus(name, SourceState.WAITING, clock.now_ns())

    def connected(self, text: str) -> None:
        """The broker has let us in."""
        self._enter(SourceState.CONNECTED, text)
        self.say("source-connected", text, self.status.to_json())

    def away(self, error: SourceAway, wait_s: float) -> None:
        """The broker is away: a loss is told once, as is one that does not answer from the start."""
        state = self.status.state
        if state is SourceState.CONNECTED:
            text = (
                f"Source {self._name} is lost: {error}. It is tried again by itself; the gap is "
                "marked as bad."
            )
            self._enter(SourceState.LOST, text)
            self.say("source-lost", text, self.status.to_json())
        elif state is SourceState.WAITING and not self.status.text:
            text = (
                f"Source {self._name} does not answer: {error}. Next try in {wait_s:.1f} s, then again by "
                "itself. Remedy: check that the address is right and the broker runs."
            )
            self._enter(SourceState.WAITING, text)
            self.say("source-waiting", text, self.status.to_json())
        else:
            _log.debug("source_still_away", source=self._name, error=str(error), next_try_s=round(wait_s, 1))

    def refused(self, error: SourceRefused) -> None:
        """The broker does not let us in, or not where we want to read."""
        if self.status.state is not SourceState.REFUSED:
            text = f"Nothing is collected from source {self._name}: {error}."
            self._enter(SourceState.REFUSED, text)
            self.say("source-refused", text, self.status.to_json())

    def say(self, kind: str, text: str, data: Mapping[str, object]) -> None:
        """Hand an event on, and log it."""
        _log.info("source_told", source=self._name, kind=kind, text=text)
        self.sink(Event(self._clock.now_ns(), self._name, kind, text, data))

    def _enter(self, state: SourceState, text: str) -> None:
        self.status = SourceStatus(self._name, state, self._clock.now_ns(), text)
