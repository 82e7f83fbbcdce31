"""An OPC UA server as a source: connects, subscribes, says what is wrong, and comes back by itself."""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator, Coroutine, Mapping
from contextlib import asynccontextmanager, nullcontext
from dataclasses import dataclass, replace

import structlog

from collector.backoff import Backoff
from collector.clock import Clock, WallClock
from collector.errors import SourceAway, SourceRefused
from collector.keeping.inbox import Inbox
from collector.opcua.access import OPEN, Access
from collector.opcua.arriving import Arriving
from collector.opcua.conditions import Conditions
from collector.opcua.expiry import ExpiryWatch
from collector.opcua.filler import Filler
from collector.opcua.items import Asking
from collector.opcua.link import Link
from collector.opcua.nodes import check_node, is_simulated
from collector.opcua.notices import Notices
from collector.opcua.offered import Offer, offered
from collector.opcua.subscription import Subscription
from collector.reading.mapping import Reading, SourceMapping
from collector.source import SourceCounts, SourceState, SourceStatus
from historian.event import EventSink
from historian.quality import NODE_ID_UNKNOWN
from historian.tags import Tag

_REFUSED_WAIT_S = 60.0
_BREAK_AGAIN_S = 600.0  # a connection is not given up for a lost message more often than this

_log = structlog.get_logger(__name__)


@dataclass(slots=True)
class _Connection:
    """What runs while the source is connected."""

    link: Link
    arriving: Arriving
    subscription: Subscription


class OpcUaSource:
    """Collects a source's tags from its OPC UA server.

    Args:
        mapping: the source.
        tags: as the store knows them, by path.
        access: how to get in at the server.
        asking: what is asked of it.
        alarms: hears the machine's own alarms; None when they are not wanted.
        clock: the edge's.
        backoff: waits between tries; the default never waits longer than 5 s.

    Raises:
        WrongNode, UnitMismatch, UnknownUnit: the mapping cannot work; nothing runs yet.
    """

    def __init__(
        self,
        mapping: SourceMapping,
        tags: Mapping[str, Tag],
        *,
        access: Access = OPEN,
        asking: Asking | None = None,
        alarms: Conditions | None = None,
        clock: Clock | None = None,
        backoff: Backoff | None = None,
    ) -> None:
        for tag in mapping.tags:
            check_node(tag.address)
        self._mapping, self._access, self._alarms = mapping, access, alarms
        self._asking = asking or Asking()
        self._expiry = ExpiryWatch(mapping.name)
        self._readings = [Reading(t, tags[t.path]) for t in mapping.tags]
        self._clock = clock or WallClock()
        self._backoff = backoff or Backoff(0.5, 4.0)
        self._notices = Notices(mapping.name, self._clock)
        self._connection: _Connection | None = None
        self._filler: Filler | None = None
        self._samples = self._connections = 0
        self._counts = SourceCounts()
        self._broke_s = -math.inf
        self._status = SourceStatus(mapping.name, SourceState.WAITING, self._clock.now_ns())

    @property
    def name(self) -> str:
        """The source's name, as tags carry it."""
        return self._mapping.name

    @property
    def status(self) -> SourceStatus:
        """How it stands now."""
        delivered = self._samples + (self._connection.arriving.samples if self._connection else 0)
        return replace(self._status, samples=delivered)

    @property
    def counts(self) -> SourceCounts:
        """What it has counted since it was made."""
        counts = self._counts if self._connection is None else _added(self._counts, self._connection)
        return replace(
            counts,
            reconnects=max(0, self._connections - 1),
            backfilled=self._filler.filled if self._filler else 0,
            waiting=self._filler.waiting if self._filler else 0,
        )

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        """Deliver until cancelled; says every change of state to the sink."""
        self._notices.sink = sink
        self._filler = Filler(self.name, inbox, self._mapping.clock, self._notices.say)
        while True:
            try:
                await self._connect(inbox, self._filler)
            except SourceRefused as error:
                self._refused(error, inbox)
                await self._access.again(error, _REFUSED_WAIT_S)
            except SourceAway as error:
                wait_s = self._backoff.next_s()
                self._away(error, wait_s, inbox)
                await asyncio.sleep(wait_s)

    async def _connect(self, inbox: Inbox, filler: Filler) -> None:
        """Connect and collect until the connection breaks."""
        async with Link.opened(self._mapping.endpoint, self._access, self._clock) as link:
            if is_simulated(link.namespaces) and not self._mapping.simulated:
                raise SourceRefused(
                    f"source {self.name}: {self._mapping.endpoint} is a simulated line; mark the source "
                    "simulated = true, or give the machine's own address"
                )
            offer = await offered(link, self._readings, self._asking)
            arriving = Arriving(self.name, inbox, self._mapping.clock, offer.items)
            may_break = asyncio.get_running_loop().time() - self._broke_s > _BREAK_AGAIN_S
            subscription = Subscription(link, arriving, breaks=may_break)
            self._connection = connection = _Connection(link, arriving, subscription)
            self._connections += 1
            try:
                await self._subscribe(connection, offer, inbox)
                filling = filler.run(link, arriving, offer.items) if self._asking.history else None
                async with (
                    _beside(link, subscription.keep_complete()),
                    _beside(link, filling),
                    self._alarms.heard(link, self._notices.sink) if self._alarms else nullcontext(),
                ):
                    await link.watch(lambda time_ns: self._look(connection, time_ns, inbox))
            finally:
                self._ended(connection)

    async def _subscribe(self, connection: _Connection, offer: Offer, inbox: Inbox) -> None:
        """Subscribe to every tag that can be had, and tell which cannot."""
        unknown = dict(offer.unknown)
        link = connection.link
        for item, reason in await connection.subscription.open(offer.items, self._asking.publishing_ms):
            unknown[item.path] = f"node '{item.reading.mapping.address}': {reason}"
        self._notices.unknown(unknown, of=len(self._readings))
        self._notices.wrong_units(offer.wrong_unit)
        self._notices.no_ranges(offer.no_range)
        self._notices.short(connection.subscription.short)
        if self._mapping.clock == "wall":
            now_ns = await link.server_time_ns()
            for reading in self._readings:
                if reading.tag.path in unknown:
                    inbox.put(self.name, reading.tag.id, now_ns, math.nan, NODE_ID_UNKNOWN)
        self._connected((*unknown, *offer.wrong_unit))
        self._tell_expiry(link)

    def _look(self, connection: _Connection, time_ns: int, inbox: Inbox) -> None:
        """Every few seconds: hand on the source's time, and tell what was noticed."""
        if self._mapping.clock == "wall":
            inbox.alive(self.name, time_ns)
        self._notice(connection)
        # Only a connection that held for a while counts as a try that worked.
        self._backoff.reset()
        connection.subscription.check_alive()
        self._tell_expiry(connection.link)

    def _notice(self, connection: _Connection) -> None:
        self._notices.mended(connection.arriving.newly_mended())
        self._notices.unstamped(connection.arriving.unstamped)
        counts = self.counts
        self._notices.lost(counts.missed, counts.overflows)

    def _ended(self, connection: _Connection) -> None:
        self._notice(connection)
        if connection.subscription.missed:
            self._broke_s = asyncio.get_running_loop().time()
        self._samples += connection.arriving.samples
        self._counts = _added(self._counts, connection)
        self._connection = None

    def _connected(self, unknown: tuple[str, ...]) -> None:
        had = len(self._readings) - len(unknown)
        text = (
            f"Source {self.name} is connected: {self._mapping.endpoint}, {had} of {len(self._readings)} tags."
        )
        self._enter(SourceState.CONNECTED, text, unknown)
        self._notices.say("source-connected", text, self.status.to_json())

    def _away(self, error: SourceAway, wait_s: float, inbox: Inbox) -> None:
        """Tell a loss, or an endpoint that is down at the start, once; further tries fail quietly."""
        state = self._status.state
        inbox.lost(self.name)
        if state is SourceState.CONNECTED:
            text = (
                f"Source {self.name} is lost: {error}. It is tried again by itself; the gap is marked as bad."
            )
            self._enter(SourceState.LOST, text, self._status.unknown)
            self._notices.say("source-lost", text, self.status.to_json())
        elif state is SourceState.REFUSED or not self._status.text:
            text = (
                f"Source {self.name} does not answer: {error}. Next try in {wait_s:.1f} s, then again by "
                "itself. Remedy: check that the address is right and the machine is switched on."
            )
            self._enter(SourceState.WAITING, text, ())
            data = {**self.status.to_json(), "next_try_s": round(wait_s, 1)}
            self._notices.say("source-waiting", text, data)
        else:
            _log.debug("source_still_away", source=self.name, error=str(error), next_try_s=round(wait_s, 1))

    def _refused(self, error: SourceRefused, inbox: Inbox) -> None:
        text = f"Nothing is collected: {error}."
        if (self._status.state, self._status.text) != (SourceState.REFUSED, text):
            inbox.lost(self.name)
            self._enter(SourceState.REFUSED, text, ())
            self._notices.say("source-refused", text, self.status.to_json())

    def _tell_expiry(self, link: Link) -> None:
        for event in self._expiry.due(link.papers, self._clock.now_ns()):
            self._notices.say(event.kind, event.text, event.data)

    def _enter(self, state: SourceState, text: str, unknown: tuple[str, ...]) -> None:
        self._status = SourceStatus(self.name, state, self._clock.now_ns(), text, 0, unknown)


def _added(counts: SourceCounts, connection: _Connection) -> SourceCounts:
    """The counts with those of a connection."""
    arriving = connection.arriving
    return replace(
        counts,
        received=counts.received + arriving.received,
        overflows=counts.overflows + arriving.overflows,
        missed=counts.missed + connection.subscription.missed,
        rejected=counts.rejected + arriving.rejected,
        unstamped=counts.unstamped + arriving.unstamped,
    )


@asynccontextmanager
async def _beside(link: Link, work: Coroutine[None, None, None] | None) -> AsyncIterator[None]:
    """Do some work for a connection while the block runs; its end is the work's end."""
    if work is None:
        yield
        return
    task = asyncio.create_task(_guarded(link, work))
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def _guarded(link: Link, work: Coroutine[None, None, None]) -> None:
    try:
        await work
    except SourceAway as error:
        link.broke(str(error).removeprefix(f"{link.endpoint}: "))
    except Exception:
        # What comes live goes on without it.
        _log.exception("work_beside_failed", endpoint=link.endpoint)
