"""A broker whose messages carry JSON, as a source: each message is acknowledged once the store has it."""

from __future__ import annotations

import asyncio
import time
from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Final

import numpy as np
import structlog
from numpy.typing import NDArray

from collector.backoff import Backoff
from collector.clock import Clock, WallClock
from collector.complaints import Complaints
from collector.deadband import Deadband, width_of
from collector.errors import SourceAway, SourceRefused
from collector.inbox import Inbox
from collector.json.reader import COMPLAINTS, EXACT, Block, JsonReader
from collector.json.shape import JsonShape
from collector.mapping import SourceMapping
from collector.mqtt.broker import Broker
from collector.mqtt.connection import Connection, Message
from collector.readings import Places, Qualities, Readings, Values
from collector.source import SourceCounts, SourceState, SourceStatus
from historian.event import Event, EventSink
from historian.frame import Times
from historian.tags import Tag

_REFUSED_WAIT_S: Final = 60.0
_LEAVE_S: Final = 10.0  # for the last messages to be stored and acknowledged
_LOOK_S: Final = 3.0
# common practice, no source: no broker's window is smaller as it comes; when so many wait and nothing more
# comes, it may be full.
_SMALL_WINDOW: Final = 10

_log = structlog.get_logger(__name__)


@dataclass(slots=True)
class _Unstored:
    """The messages of one connection that the store does not have yet; one thread writes each number.

    Attributes:
        mids: heard and not handed on.
        resent: whether one of them may have come before.
        handed: how many were handed on, by the connection's thread.
        stored: how many of those are on disk, by the event loop's.
    """

    mids: list[int] = field(default_factory=list)
    resent: bool = False
    handed: int = 0
    stored: int = 0

    @property
    def waiting(self) -> int:
        """How many are not on disk."""
        return len(self.mids) + self.handed - self.stored


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
        self._readings = Readings.of(mapping.tags, tags)
        self._complaints = Complaints(mapping.name, COMPLAINTS)
        spoken = codes or {}
        self._reader = JsonReader(
            shapes,
            {t.address: place for place, t in enumerate(mapping.tags)},
            {place: spoken[t.path] for place, t in enumerate(mapping.tags) if t.path in spoken},
            self._complaints,
            largest_byte=broker.largest_byte,
        )
        widths = [width_of(t) or 0.0 for t in mapping.tags]
        self._deadbands = [Deadband(width) if width > 0 else None for width in widths]
        self._dead = any(d is not None for d in self._deadbands)
        self._unstored = _Unstored()
        self._plain_seen = False
        self._received = self._reconnects = 0
        self._status = SourceStatus(mapping.name, SourceState.WAITING, self._clock.now_ns())

    @property
    def name(self) -> str:
        """The source's name, as tags carry it."""
        return self._mapping.name

    @property
    def status(self) -> SourceStatus:
        """How it stands now."""
        old = self._status
        return SourceStatus(old.name, old.state, old.since_ns, old.text, self._received)

    @property
    def counts(self) -> SourceCounts:
        """What it has counted so far."""
        return SourceCounts(
            received=self._received,
            rejected=self._complaints.total,
            unstamped=self._reader.unstamped,
            reconnects=max(0, self._reconnects),
            waiting=self._unstored.waiting,
        )

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        """Deliver until cancelled; says every change of state to the sink."""
        while True:
            try:
                await self._connect(inbox, sink)
            except SourceRefused as error:
                self._refused(error, inbox, sink)
                await asyncio.sleep(_REFUSED_WAIT_S)
            except SourceAway as error:
                wait_s = self._backoff.next_s()
                self._away(error, wait_s, inbox, sink)
                await asyncio.sleep(wait_s)

    async def _connect(self, inbox: Inbox, sink: EventSink) -> None:
        """Connect and collect until the connection breaks."""
        self._unstored = _Unstored()
        self._reader.take()  # what the last connection left is not acknowledged: it comes again
        topics = [(shape.topic, shape.qos) for shape in self._shapes]
        connection: Connection

        def welcomed(kept: bool) -> None:
            # What was sent meanwhile has waited at the broker, if all of it is of QoS 1.
            if kept and not self._plain_seen and all(qos > 0 for _, qos in topics):
                inbox.healed(self.name)

        connection = Connection(
            self._broker,
            self._hear,
            topics,
            welcomed=welcomed,
            calm=lambda paused: self._hand_on(inbox, connection, paused=paused),
        )
        kept = await connection.open()
        try:
            self._connected(kept, sink)
            losing = asyncio.create_task(connection.lost())
            while not losing.done():
                await asyncio.wait([losing], timeout=_LOOK_S)
                self._look(sink)
            await losing
        except asyncio.CancelledError:
            await self._leave(inbox, connection)
            raise
        finally:
            losing.cancel()
            self._look(sink)
            await connection.close()

    async def _leave(self, inbox: Inbox, connection: Connection) -> None:
        """Take nothing more, have the rest stored, and acknowledge it."""
        connection.stop_reading()
        inbox.hurry()
        end = time.monotonic() + _LEAVE_S
        while self._unstored.waiting > 0 and time.monotonic() < end:
            await asyncio.sleep(0.02)
            inbox.hurry()

    def _hear(self, message: Message) -> None:
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

    def _hand_on(self, inbox: Inbox, connection: Connection, *, paused: bool) -> None:
        """Give what was read to the inbox, on the connection's thread."""
        unstored = self._unstored
        blocks, mids = self._reader.take(), unstored.mids
        if blocks or mids:
            at, time_ns, value, quality = self._columns(blocks)
            resent, unstored.resent = unstored.resent, False
            unstored.handed, unstored.mids = unstored.handed + len(mids), []

            def receipt() -> None:
                unstored.stored += len(mids)
                connection.ack(mids)

            inbox.put_columns(
                self.name,
                self._readings.tag_id[at],
                time_ns,
                value,
                quality,
                resent=resent,
                receipt=receipt if mids else None,
            )
        waiting = unstored.waiting
        if waiting >= self._broker.window or (paused and waiting >= _SMALL_WINDOW):
            # The broker sends nothing more before something is acknowledged.
            inbox.hurry()

    def _columns(self, blocks: Sequence[Block]) -> tuple[Places, Times, Values, Qualities]:
        """Places, times, values and qualities of what is kept of all blocks, one after the other."""
        at, time_ns, said = _joined(blocks)
        if all(isinstance(b.raw, array) for b in blocks):
            raw = np.frombuffer(b"".join(b.raw for b in blocks), np.float64)  # type: ignore[misc]
            self._tell_large(blocks, raw)
            value, quality = self._readings.take_columns(at, raw, said)
        else:
            mixed = list(chain.from_iterable(b.raw for b in blocks))
            value, quality = self._readings.take_mixed(at, mixed, said)
        self._received += len(at)
        if self._dead:
            kept = self._passing(at, time_ns, value, quality)
            return at[kept], time_ns[kept], value[kept], quality[kept]
        return at, time_ns, value, quality

    def _tell_large(self, blocks: Sequence[Block], raw: Values) -> None:
        """Count the numbers of batches that are so large that whole ones are not all kept exactly."""
        if not (np.abs(raw) > EXACT).any():
            return
        for block in blocks:
            if block.topic and (large := [v for v in block.raw if abs(v) > EXACT]):  # type: ignore[arg-type]
                self._complaints.add("exact", block.topic, large[0], len(large))

    def _passing(self, at: Places, time_ns: Times, value: Values, quality: Qualities) -> NDArray[np.bool_]:
        """Which samples the dead bands let through."""
        rows = zip(at.tolist(), time_ns.tolist(), value.tolist(), quality.tolist(), strict=True)
        bands = self._deadbands
        return np.fromiter(
            ((b := bands[place]) is None or b.passes(when, v, q) for place, when, v, q in rows),
            np.bool_,
            len(at),
        )

    def _look(self, sink: EventSink) -> None:
        told = self._complaints.due(self._clock.now_ns())
        if told is not None:
            _log.warning("input_rejected", source=self.name, text=told.text)
            sink(told)

    def _connected(self, kept: bool, sink: EventSink) -> None:
        self._backoff.reset()
        self._reconnects += self._status.state is SourceState.LOST
        session = "what was sent meanwhile comes first" if kept else "the broker had kept no session"
        text = f"Source {self.name} is connected: {self._broker}, {len(self._mapping.tags)} tags; {session}."
        self._enter(SourceState.CONNECTED, text)
        self._say("source-connected", text, sink)

    def _away(self, error: SourceAway, wait_s: float, inbox: Inbox, sink: EventSink) -> None:
        state = self._status.state
        inbox.lost(self.name)
        if state is SourceState.CONNECTED:
            text = (
                f"Source {self.name} is lost: {error}. It is tried again by itself; the gap is marked as bad."
            )
            self._enter(SourceState.LOST, text)
            self._say("source-lost", text, sink)
        elif state is SourceState.WAITING and not self._status.text:
            text = (
                f"Source {self.name} does not answer: {error}. Next try in {wait_s:.1f} s, then again by "
                "itself. Remedy: check that the address is right and the broker runs."
            )
            self._enter(SourceState.WAITING, text)
            self._say("source-waiting", text, sink)
        else:
            _log.debug("source_still_away", source=self.name, error=str(error), next_try_s=round(wait_s, 1))

    def _refused(self, error: SourceRefused, inbox: Inbox, sink: EventSink) -> None:
        if self._status.state is not SourceState.REFUSED:
            inbox.lost(self.name)
            text = f"Nothing is collected from source {self.name}: {error}."
            self._enter(SourceState.REFUSED, text)
            self._say("source-refused", text, sink)

    def _enter(self, state: SourceState, text: str) -> None:
        self._status = SourceStatus(self.name, state, self._clock.now_ns(), text)

    def _say(self, kind: str, text: str, sink: EventSink) -> None:
        _log.info("source_told", source=self.name, kind=kind, text=text)
        sink(Event(self._clock.now_ns(), self.name, kind, text, self.status.to_json()))


def _joined(blocks: Sequence[Block]) -> tuple[Places, Times, Qualities]:
    """Places, times and what is said of the quality, of all blocks, one after the other."""
    if not blocks:
        return np.empty(0, np.intp), np.empty(0, np.int64), np.empty(0, np.uint32)
    lengths = [len(b) for b in blocks]
    at = np.concatenate([b.at for b in blocks]).astype(np.intp, copy=False)
    if all(type(b.time_ns) is int and b.quality == 0 for b in blocks):
        time_ns = np.repeat(np.array([b.time_ns for b in blocks], np.int64), lengths)
        return at, time_ns, np.zeros(len(at), np.uint32)
    time_ns = np.concatenate([np.broadcast_to(np.asarray(b.time_ns, np.int64), len(b)) for b in blocks])
    quality = np.concatenate([np.broadcast_to(np.asarray(b.quality, np.uint32), len(b)) for b in blocks])
    return at, time_ns, quality
