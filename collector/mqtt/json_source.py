"""A broker whose messages carry JSON, as a source: each message is acknowledged once the store has it."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import structlog

from collector.backoff import Backoff
from collector.clock import Clock, WallClock
from collector.complaints import Complaints
from collector.errors import SourceAway, SourceRefused
from collector.json.columns import ColumnMaker
from collector.json.reader import COMPLAINTS, JsonReader
from collector.json.shape import JsonShape
from collector.keeping.inbox import Inbox
from collector.mqtt.broker import Broker
from collector.mqtt.connection import Connection, Message
from collector.mqtt.standing import Standing
from collector.reading.deadband import Deadband, width_of
from collector.reading.mapping import SourceMapping
from collector.reading.readings import Readings
from collector.source import SourceCounts, SourceState, SourceStatus
from historian.event import EventSink
from historian.tags import Tag

_REFUSED_WAIT_S: Final = 60.0
_LEAVE_S: Final = 10.0  # for the last messages to be stored and acknowledged
_LOOK_S: Final = 3.0
_SMALL_WINDOW: Final = 10  # common practice, no source: no broker's is smaller as it comes
_SURE: Final = 3

_log = structlog.get_logger(__name__)


@dataclass(slots=True)
class _Unstored:
    """The messages of one connection that the store does not have yet; one thread writes each number.

    The broker sends only so many before the first is acknowledged. How many is said in the line's file; where
    fewer came and never more, a few times, and then a pause, that is taken for its window.

    Attributes:
        window: as the file says it.
        mids: heard and not handed on.
        resent: whether one of them may have come before.
        handed: how many were handed on, by the connection's thread.
        stored: how many of those are on disk, by the event loop's.
    """

    window: int
    mids: list[int] = field(default_factory=list)
    resent: bool = False
    handed: int = 0
    stored: int = 0
    _most: int = _SMALL_WINDOW - 1
    _met: int = 0

    @property
    def waiting(self) -> int:
        """How many are not on disk."""
        return len(self.mids) + self.handed - self.stored

    @property
    def is_full(self) -> bool:
        """Whether the broker may send nothing more before something is acknowledged."""
        waiting = self.waiting
        return waiting == self.window or (self._met >= _SURE and waiting == self._most)

    def pause(self) -> None:
        """Nothing more comes just now."""
        waiting = self.waiting
        if waiting > self._most:
            self._most, self._met = waiting, 0
        self._met += waiting == self._most


class MqttJsonSource:
    """Collects a source's tags from the JSON messages of a broker.

    Args:
        mapping: the source; a tag's address is what the messages call it.
        tags: as the store knows them, by path.
        broker: where, and how to come in.
        shapes: how samples lie in the messages.
        codes: tag path → text → number.
        clock: the edge's.

    Raises:
        UnitMismatch, UnknownUnit: the mapping cannot work; nothing runs yet.
    """

    def __init__(
        self,
        mapping: SourceMapping,
        tags: Mapping[str, Tag],
        broker: Broker,
        shapes: Sequence[JsonShape],
        *,
        codes: Mapping[str, Mapping[str, float]] | None = None,
        clock: Clock | None = None,
        backoff: Backoff | None = None,
    ) -> None:
        self._mapping, self._broker, self._shapes = mapping, broker, shapes
        self._clock = clock or WallClock()
        self._backoff = backoff or Backoff(0.5, 4.0)
        self._complaints = Complaints(mapping.name, COMPLAINTS)
        widths = [width_of(t) or 0.0 for t in mapping.tags]
        bands = [Deadband(width) if width > 0 else None for width in widths]
        self._maker = ColumnMaker(Readings.of(mapping.tags, tags), bands, self._complaints)
        spoken = codes or {}
        self._reader = JsonReader(
            shapes,
            {t.address: place for place, t in enumerate(mapping.tags)},
            {place: spoken[t.path] for place, t in enumerate(mapping.tags) if t.path in spoken},
            self._complaints,
            largest_byte=broker.largest_byte,
        )
        self._unstored = _Unstored(broker.window)
        self._plain_seen = False
        self._received = self._reconnects = 0
        self._standing = Standing(mapping.name, self._clock)

    @property
    def name(self) -> str:
        """The source's name, as tags carry it."""
        return self._mapping.name

    @property
    def status(self) -> SourceStatus:
        """How it stands now."""
        return replace(self._standing.status, samples=self._received)

    @property
    def counts(self) -> SourceCounts:
        """What it has counted so far."""
        return SourceCounts(
            received=self._received,
            rejected=self._complaints.total,
            unstamped=self._reader.unstamped,
            reconnects=self._reconnects,
            waiting=self._unstored.waiting,
        )

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        """Deliver until cancelled; says every change of state to the sink."""
        self._standing.sink = sink
        while True:
            try:
                await self._connect(inbox)
            except SourceRefused as error:
                inbox.lost(self.name)
                self._standing.refused(error)
                await asyncio.sleep(_REFUSED_WAIT_S)
            except SourceAway as error:
                wait_s = self._backoff.next_s()
                inbox.lost(self.name)
                self._standing.away(error, wait_s)
                await asyncio.sleep(wait_s)

    async def _connect(self, inbox: Inbox) -> None:
        """Connect and collect until the connection breaks."""
        self._unstored = _Unstored(self._broker.window)
        self._reader.take()  # what the last connection left is not acknowledged: it comes again
        topics = [(shape.topic, shape.qos) for shape in self._shapes]
        connection: Connection

        def welcomed(kept: bool) -> None:
            # What was sent meanwhile has waited at the broker, if all of it is of QoS 1.
            if kept and not self._plain_seen and all(qos > 0 for _, qos in topics):
                inbox.healed(self.name)

        connection = Connection(
            self._broker,
            lambda message: self._hear(message, inbox, connection),
            topics,
            welcomed=welcomed,
            calm=lambda paused: self._calm(inbox, connection, paused=paused),
        )
        kept = await connection.open()
        self._connected(kept)
        losing = asyncio.create_task(connection.lost())
        try:
            while not losing.done():
                await asyncio.wait([losing], timeout=_LOOK_S)
                self._look()
            await losing
        except asyncio.CancelledError:
            await self._leave(inbox, connection)
            raise
        finally:
            losing.cancel()
            self._look()
            await connection.close()

    async def _leave(self, inbox: Inbox, connection: Connection) -> None:
        """Take nothing more, have the rest stored, and acknowledge it."""
        connection.stop_reading()
        inbox.hurry()
        end = time.monotonic() + _LEAVE_S
        while self._unstored.waiting > 0 and time.monotonic() < end:
            await asyncio.sleep(0.02)
            inbox.hurry()

    def _hear(self, message: Message, inbox: Inbox, connection: Connection) -> None:
        """One message, on the connection's thread."""
        unstored = self._unstored
        if message.qos:
            unstored.mids.append(message.mid)
        else:
            self._plain_seen = True
        if message.dup or message.retain:
            unstored.resent = True
        # A message that the broker kept for us says nothing of when it was sent.
        arrival_ns = None if message.retain else self._clock.now_ns()
        try:
            self._reader.read(message.topic, message.payload, arrival_ns)
        except UnicodeDecodeError:
            self._complaints.add("topic", "(no UTF-8)", message.payload)
        except Exception as error:
            # Not foreseen. Without an acknowledgement the broker would send it again and again.
            _log.exception("message_failed", source=self.name)
            self._complaints.add("failed", type(error).__name__, message.payload)
        if unstored.is_full:
            self._hand_on(inbox, connection)
            inbox.hurry()

    def _calm(self, inbox: Inbox, connection: Connection, *, paused: bool) -> None:
        """Enough was heard for now, on the connection's thread."""
        self._hand_on(inbox, connection)
        if paused:
            self._unstored.pause()
            if self._unstored.is_full:
                inbox.hurry()

    def _hand_on(self, inbox: Inbox, connection: Connection) -> None:
        """Give what was read to the inbox, on the connection's thread."""
        unstored = self._unstored
        blocks, mids = self._reader.take(), unstored.mids
        if not blocks and not mids:
            return
        columns = self._maker.columns(blocks)
        self._received += sum(len(b) for b in blocks)
        resent, unstored.resent = unstored.resent, False
        unstored.handed, unstored.mids = unstored.handed + len(mids), []

        def receipt() -> None:
            unstored.stored += len(mids)
            connection.ack(mids)

        inbox.put_columns(
            self.name,
            columns.tag,
            columns.time_ns,
            columns.value,
            columns.quality,
            resent=resent,
            receipt=receipt if mids else None,
        )

    def _look(self) -> None:
        told = self._complaints.due(self._clock.now_ns())
        if told is not None:
            self._standing.say(told.kind, told.text, told.data)

    def _connected(self, kept: bool) -> None:
        self._backoff.reset()
        self._reconnects += self._standing.status.state is SourceState.LOST
        session = "what was sent meanwhile comes first" if kept else "the broker had kept no session"
        tags = len(self._mapping.tags)
        self._standing.connected(f"Source {self.name} is connected: {self._broker}, {tags} tags; {session}.")
