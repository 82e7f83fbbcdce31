"""Hears the machine's own alarms (Alarms and Conditions) and hands each change on. It never acts on one.

Every event of the Server object is asked for and sorted here. A where clause that names the wanted types
would be shorter on the wire, but some servers refuse one, and some compare types without their subtypes,
which would leave alarms out without a word.
Source: OPC 10000-9, 5.5.7 (ConditionRefresh), 5.11 (refresh events); OPC 10000-4, 7.22.3 (EventFilter).
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterable, Mapping, Sequence
from contextlib import asynccontextmanager, suppress
from typing import Any, Final

import structlog
from asyncua import ua
from asyncua.ua.attribute_ids import AttributeIds
from asyncua.ua.object_ids import ObjectIds
from asyncua.ua.status_codes import StatusCodes

from collector.clock import Clock
from collector.errors import SourceAway
from collector.machine_alarms import MACHINE_EVENT, AlarmBook, MachineAlarm
from collector.opcua.event_fields import FIELDS, PLAIN_FIELDS, alarm_of, select, type_of, words_of
from collector.opcua.link import Link
from historian.event import Event, EventSink

PUBLISHING_MS: Final = 500.0
QUEUE: Final = 1000
ASK_AGAIN_S: Final = 5.0
SLACK_S: Final = 30.0

_KEEP_ALIVE = 20  # publishing intervals: 10 s
_LIFETIME = 240  # publishing intervals: 2 min
_SERVER = ua.NodeId(ua.Int32(ObjectIds.Server))
_ASKS_REFRESH = {ObjectIds.RefreshRequiredEventType, ObjectIds.EventQueueOverflowEventType}

_log = structlog.get_logger(__name__)


class Conditions:
    """The own alarms of one machine, over all its connections.

    Args:
        source: name of the source.
        clock: the edge's.
        standing: the alarms that stood by the last words kept before a restart.
        events_above: plain events of this severity and above are handed on as well; None for none.
    """

    def __init__(
        self,
        source: str,
        clock: Clock,
        *,
        standing: Iterable[MachineAlarm] = (),
        events_above: int | None = None,
    ) -> None:
        self._source, self._clock, self._events_above = source, clock, events_above
        self._book = AlarmBook(source, standing)
        self._said: set[str] = set()
        self._sequence: int | None = None
        self._subscription = 0
        self._silent_s = 0.0
        self._heard = self._ended = False
        self._wanted = asyncio.Event()
        self._namespaces: Sequence[str] = ()
        self._fields: Sequence[str] = FIELDS
        self._sink: EventSink

    @property
    def standing(self) -> tuple[MachineAlarm, ...]:
        """The alarms that stood by the machine's last word."""
        return self._book.standing

    @asynccontextmanager
    async def heard(self, link: Link, sink: EventSink) -> AsyncIterator[None]:
        """Hear the machine's alarms while the block runs. A server that has none is none the worse."""
        self._sink, self._namespaces = sink, link.namespaces
        asking: asyncio.Task[None] | None = None
        try:
            if await self._open(link):
                self._wanted.set()
                asking = asyncio.create_task(self._refresh_when_wanted(link))
            yield
        finally:
            if asking is not None:
                asking.cancel()
                with suppress(asyncio.CancelledError):
                    await asking
            self._tell(self._book.lost(self._clock.now_ns()))

    async def _open(self, link: Link) -> bool:
        """Subscribe to the server's events; whether it lets us."""
        self._sequence, self._ended = None, False
        try:
            created = await link.subscribe(_subscription(), self._take)
            self._subscription = int(created.SubscriptionId)
            keep_alive_s = created.RevisedPublishingInterval * created.RevisedMaxKeepAliveCount / 1000
            self._silent_s = SLACK_S + 3 * keep_alive_s
            for self._fields in (FIELDS, PLAIN_FIELDS):
                (result,) = await link.monitor(self._subscription, [_request(self._fields)])
                if result.StatusCode.is_good():
                    return True
        except SourceAway as error:
            # A refusal; where the connection broke instead, whoever watches it says so.
            _log.info("machine_alarms_not_read", source=self._source, reason=str(error))
            return False
        _log.info("machine_alarms_not_read", source=self._source, reason=result.StatusCode.name)
        return False

    async def _refresh_when_wanted(self, link: Link) -> None:
        """Ask what stands, at the start and whenever it is not certain any more."""
        while True:
            await self._until_wanted()
            self._wanted.clear()
            if self._ended and not await self._open(link):
                return
            try:
                status = await link.condition_refresh(self._subscription)
            except SourceAway as error:
                _log.info("condition_refresh_failed", source=self._source, reason=str(error))
                return
            if status.value == StatusCodes.BadRefreshInProgress:
                self._wanted.set()
            elif not status.is_good():
                self._cannot_refresh(status.name)
            # A server that asks for it again and again is not to be asked without end.
            await asyncio.sleep(ASK_AGAIN_S)

    async def _until_wanted(self) -> None:
        """Come back when what stands is not certain any more; a subscription that fell silent has ended."""
        while not self._wanted.is_set():
            self._heard = False
            try:
                async with asyncio.timeout(self._silent_s):
                    await self._wanted.wait()
            except TimeoutError:
                if not self._heard:
                    self._ended = True
                    return

    def _cannot_refresh(self, why: str) -> None:
        _log.info("condition_refresh_refused", source=self._source, reason=why)
        if self._book.standing and "refresh" not in self._said:
            self._said.add("refresh")
            text = (
                f"Source {self._source} cannot tell which of its own alarms stand now ({why}); those that "
                "went while it was not heard stay as they were. Remedy: look at the machine's panel."
            )
            self._tell(Event(self._clock.now_ns(), self._source, "machine-alarms-unsure", text))

    def _take(self, result: ua.PublishResult) -> None:
        """One publish response, straight from the library's publish loop."""
        if result.SubscriptionId != self._subscription:
            return  # one that was given up; the end of its refresh would close what stands
        self._heard = True
        message = result.NotificationMessage
        if not message.NotificationData:
            return
        if self._sequence is not None and message.SequenceNumber > self._sequence + 1:
            self._wanted.set()
        self._sequence = message.SequenceNumber
        for data in message.NotificationData:
            if isinstance(data, ua.EventNotificationList):
                for event in data.Events:
                    self._event({n: v.Value for n, v in zip(self._fields, event.EventFields, strict=False)})
            elif isinstance(data, ua.StatusChangeNotification):
                # The samples have a subscription of their own, which goes on.
                _log.info("machine_alarms_ended", source=self._source, reason=data.Status.name)
                self._ended = True
                self._wanted.set()

    def _event(self, fields: Mapping[str, Any]) -> None:
        now_ns = self._clock.now_ns()
        kind = type_of(fields)
        if kind == ObjectIds.RefreshStartEventType:
            self._book.refresh_began()
        elif kind == ObjectIds.RefreshEndEventType:
            for event in self._book.refresh_ended(now_ns):
                self._tell(event)
        elif kind in _ASKS_REFRESH:
            self._wanted.set()
        elif (alarm := alarm_of(fields, self._namespaces)) is not None:
            self._tell(self._book.take(alarm, now_ns))
        elif self._events_above is not None:
            self._plain(fields, self._events_above, now_ns)

    def _plain(self, fields: Mapping[str, Any], least: int, now_ns: int) -> None:
        said = words_of(fields)
        if said["severity"] >= least:
            of = f" ({said['source_name']})" if said["source_name"] else ""
            text = (
                f"The machine says{of}: {said['message'] or 'nothing'}. "
                f"(The machine's severity: {said['severity']} of 1000.)"
            )
            self._tell(Event(now_ns, self._source, MACHINE_EVENT, text, said))

    def _tell(self, event: Event | None) -> None:
        if event is not None:
            _log.info("machine_told", source=self._source, kind=event.kind, text=event.text)
            self._sink(event)


def _subscription() -> ua.CreateSubscriptionParameters:
    return ua.CreateSubscriptionParameters(
        RequestedPublishingInterval=PUBLISHING_MS,
        RequestedLifetimeCount=_LIFETIME,
        RequestedMaxKeepAliveCount=_KEEP_ALIVE,
        MaxNotificationsPerPublish=0,
        PublishingEnabled=True,
        Priority=0,
    )


def _request(fields: Sequence[str]) -> ua.MonitoredItemCreateRequest:
    return ua.MonitoredItemCreateRequest(
        ItemToMonitor=ua.ReadValueId(NodeId=_SERVER, AttributeId=AttributeIds.EventNotifier),
        MonitoringMode=ua.MonitoringMode.Reporting,
        RequestedParameters=ua.MonitoringParameters(
            ClientHandle=1,
            SamplingInterval=0.0,
            QueueSize=QUEUE,
            DiscardOldest=True,
            Filter=ua.EventFilter(SelectClauses=[select(name) for name in fields]),
        ),
    )
