"""The edge nodes of a Sparkplug group as a source.

It is a host application that publishes nothing but its state and the request to be born again.
Source: Sparkplug specification 3.0, 5.2, 5.13 (host application session establishment), 5.14 (termination).
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from threading import Lock
from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.backoff import Backoff
from collector.clock import Clock, WallClock
from collector.columns import Columns
from collector.complaints import Complaints
from collector.errors import SourceAway, SourceRefused
from collector.keeping.inbox import Inbox
from collector.mqtt.broker import Broker
from collector.mqtt.connection import Connection, Message, Publication
from collector.mqtt.own_state import OwnState
from collector.mqtt.standing import Standing
from collector.reading.deadband import Deadband, width_of
from collector.reading.mapping import SourceMapping, TagMapping
from collector.reading.readings import Readings
from collector.reading.told_unit import ToldUnit, settled
from collector.source import SourceCounts, SourceState, SourceStatus
from collector.sparkplug.host import Delivery, Host
from collector.sparkplug.known import Places
from collector.sparkplug.rebirth import rebirth_body, rebirth_topic
from collector.sparkplug.samples import COMPLAINTS
from collector.sparkplug.topic import check_part, filters, read_address
from historian.errors import UnitMismatch
from historian.event import EventSink
from historian.frame import NS
from historian.tags import Tag

_REFUSED_WAIT_S: Final = 60.0
_LOOK_S: Final = 0.25
_GRACE_NS: Final = NS  # for nodes that wait for our state and are born by themselves
_ALIVE_NS: Final = 3 * NS
_BEHIND_NS: Final = 10 * NS  # what a node gathers before it sends is not older than this
_CONTESTED_NS: Final = 60 * NS


class SparkplugSource:
    """Collects a source's tags from the edge nodes of a Sparkplug group.

    Args:
        mapping: the source; a tag's address is NODE/DEVICE/METRIC.
        tags: as the store knows them, by path.
        broker: where, and how to come in; it must keep no session.
        group: the Sparkplug group.
        host_id: our name as a host application, of this source alone.
        texts: metrics that are told as texts when they change, NODE/DEVICE/METRIC.
        reorder_s: how long a message may be missing before its node is asked for a rebirth.
        clock: the edge's.
        backoff: waits between tries.

    Raises:
        WrongInput: an address, the group or the host is none.
        UnitMismatch, UnknownUnit: the mapping cannot work; nothing runs yet.
    """

    def __init__(
        self,
        mapping: SourceMapping,
        tags: Mapping[str, Tag],
        broker: Broker,
        *,
        group: str,
        host_id: str,
        texts: Sequence[str] = (),
        reorder_s: float = 2.0,
        clock: Clock | None = None,
        backoff: Backoff | None = None,
    ) -> None:
        self._mapping, self._broker, self._group = mapping, broker, check_part(group, "a group")
        self._clock = clock or WallClock()
        self._state = OwnState(check_part(host_id, "a host"), self._clock)
        self._backoff = backoff or Backoff(0.5, 4.0)
        self._complaints = Complaints(mapping.name, COMPLAINTS)
        widths = [width_of(t) or 0.0 for t in mapping.tags]
        self._deadbands = [Deadband(w) if w > 0 else None for w in widths]
        self._host = Host(
            mapping.name,
            group,
            [read_address(t.address) for t in mapping.tags],
            [read_address(text) for text in texts],
            Readings.of(mapping.tags, tags),
            self._complaints,
            reorder_ns=int(reorder_s * NS),
            largest_byte=broker.largest_byte,
            passing=self._passing if any(w > 0 for w in widths) else None,
            wrong_unit=lambda place, told: wrong_unit(mapping.tags[place], tags, told),
        )
        # The connection's thread hears, the event loop looks after what time brings.
        self._lock = Lock()
        self._contested_ns = self._alive_ns = 0
        self._connections = 0
        self._standing = Standing(mapping.name, self._clock)

    @property
    def name(self) -> str:
        """The source's name, as tags carry it."""
        return self._mapping.name

    @property
    def status(self) -> SourceStatus:
        """How it stands now."""
        old = self._standing.status
        unborn = tuple(self._mapping.tags[place].path for place in self._host.unborn)
        unknown = unborn if old.state is SourceState.CONNECTED else ()
        return SourceStatus(old.name, old.state, old.since_ns, old.text, self._host.sampler.received, unknown)

    @property
    def counts(self) -> SourceCounts:
        """What it has counted so far."""
        host = self._host
        return SourceCounts(
            received=host.sampler.received,
            missed=sum(node.missed for node in host.nodes.values()),
            rejected=self._complaints.total,
            unstamped=host.sampler.unstamped,
            reconnects=max(0, self._connections - 1),
            backfilled=host.late.delivered,
            waiting=sum(node.waiting for node in host.nodes.values()),
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
        will = self._state.begin()
        loop = asyncio.get_running_loop()
        self._host.unsure("the connection to the broker is new")
        connection: Connection
        topics = [*filters(self._group, list(self._host.nodes)), (self._state.topic, 1)]
        connection = Connection(
            self._broker, lambda message: self._hear(message, inbox, connection, loop), topics, will=will
        )
        await connection.open()
        losing = asyncio.create_task(connection.lost())
        try:
            self._state.tell(connection)
            since_ns = self._clock.now_ns()
            self._connections += 1
            self._standing.connected(
                f"Source {self.name} is connected: {self._broker}, {len(self._mapping.tags)} tags of "
                f"{len(self._host.nodes)} edge nodes of group {self._group}."
            )
            while not losing.done():
                await asyncio.wait([losing], timeout=_LOOK_S)
                self._look(inbox, connection, since_ns)
            await losing
        except asyncio.CancelledError:
            await self._state.leave(connection)
            raise
        finally:
            losing.cancel()
            await connection.close()
            self._hand_on_late(inbox, 2**63 - 1)
            self._tell_all()

    def _hear(
        self,
        message: Message,
        inbox: Inbox,
        connection: Connection,
        loop: asyncio.AbstractEventLoop,
    ) -> None:
        """One message, on the connection's thread."""
        if message.qos:
            connection.ack([message.mid])
        try:
            topic = message.topic
        except UnicodeDecodeError:
            self._complaints.add("payload", "(topic)", "a topic that is no UTF-8")
            return
        if topic == self._state.topic:
            self._state.hear(bytes(message.payload), connection, loop)
            return
        now_ns = self._clock.now_ns()
        with self._lock:
            self._hand_on(inbox, self._host.hear(topic, bytes(message.payload), now_ns))

    def _hand_on(self, inbox: Inbox, deliveries: Sequence[Delivery]) -> None:
        for delivery in deliveries:
            one, confirmed_ns = delivery.columns, delivery.confirmed_ns
            if confirmed_ns == 0:
                inbox.put_columns(self.name, one.tag, one.time_ns, one.value, one.quality, resent=one.resent)
                continue
            for tag, time_ns, value, quality, _ in one.rows():
                inbox.put(self.name, tag, time_ns, value, quality, confirmed_ns)

    def _look(self, inbox: Inbox, connection: Connection, since_ns: int) -> None:
        """Several times a second: what time brings."""
        now_ns = self._clock.now_ns()
        with self._lock:
            self._hand_on(inbox, self._host.due(now_ns))
            calm = abs(now_ns - since_ns) >= _GRACE_NS
            asked = self._host.rebirths(now_ns) if calm else []
            alive_ns = self._host.alive_ns(now_ns)
        for node in asked:
            topic = rebirth_topic(self._group, node)
            connection.publish(Publication(topic, rebirth_body(now_ns), 0))
        if calm:
            self._backoff.reset()
        if alive_ns is not None and abs(now_ns - self._alive_ns) >= _ALIVE_NS:
            self._alive_ns = now_ns
            if self._mapping.clock == "wall":
                inbox.alive(self.name, alive_ns - _BEHIND_NS)
        self._hand_on_late(inbox, inbox.arrival_ns)
        self._tell_all()
        self._look_at_state(now_ns)

    def _hand_on_late(self, inbox: Inbox, before_ns: int) -> None:
        """Give what came late to the inbox, once it is known which gaps it may fill."""
        gaps = inbox.ended_gaps(self.name)
        with self._lock:
            if not inbox.shift_ns(self.name):
                self._host.late.ended(gaps)
            lot = self._host.late.due(before_ns)
        if lot is not None:
            inbox.put_lot(self.name, lot)

    def _look_at_state(self, now_ns: int) -> None:
        contested = self._state.contested
        if contested is None or (self._contested_ns and abs(now_ns - self._contested_ns) < _CONTESTED_NS):
            return
        self._contested_ns = now_ns
        text = (
            f"Source {self.name}: somebody says on {self._state.topic} that this host is gone, with a time "
            "later than that of our connection; it is made anew. Remedy: give every host application a "
            "host_id of its own, and look at this computer's clock."
        )
        self._standing.say(
            "host-contested", text, {"told_ms": contested.time_ms, "own_ms": self._state.time_ms}
        )
        raise SourceAway(f"{self._broker}: our state was contested")

    def _passing(self, at: Places, columns: Columns) -> NDArray[np.bool_]:
        rows = zip(
            at.tolist(),
            columns.time_ns.tolist(),
            columns.value.tolist(),
            columns.quality.tolist(),
            strict=True,
        )
        bands = self._deadbands
        return np.fromiter(
            ((b := bands[place]) is None or b.passes(when, v, q) for place, when, v, q in rows),
            np.bool_,
            len(at),
        )

    def _tell_all(self) -> None:
        with self._lock:
            told = self._host.tale.take()
        for one in told:
            self._standing.say(one.kind, one.text, one.data)
        complaint = self._complaints.due(self._clock.now_ns())
        if complaint is not None:
            self._standing.say(complaint.kind, complaint.text, complaint.data)


def wrong_unit(mapping: TagMapping, tags: Mapping[str, Tag], told: str) -> str | None:
    """Why a metric in this unit, by its node's word, cannot be a tag; None when it can, or nobody knows.

    Source: the property ``engUnit`` of a birth: common practice, no source.
    """
    try:
        unit = settled(mapping, tags[mapping.path], ToldUnit(-1, told)).unit
    except UnitMismatch as error:
        return str(error)
    if unit == mapping.unit:
        return None
    return f"the node says {told}, the tag is {mapping.unit} where the line's file says no unit"
