"""Subscribes to a source's nodes and hands what they send to the inbox."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Literal

import structlog
from asyncua import ua
from asyncua.ua.attribute_ids import AttributeIds
from asyncua.ua.status_codes import StatusCodes

from collector.deadband import Deadband
from collector.inbox import Inbox
from collector.mapping import Reading
from collector.opcua.link import AT_ONCE, Link
from collector.opcua.times import ns_of

PUBLISHING_MS = 250.0
SAMPLING_MS = 250.0
QUEUE = 120
_KEEP_ALIVE = 12  # publishing intervals: 3 s
_LIFETIME = 240  # publishing intervals: 60 s

_OVERFLOW = 0x0000_0480
"""StatusCode info bits: DataValue, overflow. Source: OPC 10000-4, 7.39.1 (InfoType 01, bit 7)."""

_EVERY_SAMPLE = ua.DataChangeFilter(Trigger=ua.DataChangeTrigger.StatusValueTimestamp)
"""Reports a sample whose value repeats: a steady reading is then told from a frozen source.
Source: OPC 10000-4, 7.22.2 (DataChangeFilter)."""

_NO_FILTER = {StatusCodes.BadMonitoredItemFilterUnsupported, StatusCodes.BadFilterNotAllowed}

_log = structlog.get_logger(__name__)


@dataclass(slots=True)
class Item:
    """One tag and its node.

    Attributes:
        reading: how its values become the tag's.
        node: the server's node.
        deadband: None keeps every sample.
        fresh: whether nothing came yet in this subscription.
        mended_told: its source was told that values came that are no numbers.
    """

    reading: Reading
    node: ua.NodeId
    deadband: Deadband | None = None
    fresh: bool = True
    mended_told: bool = False


class Subscription:
    """The running subscription of one connection.

    Args:
        link: the connection.
        name: the source's.
        inbox: where samples go.
        clock: ``wall`` when the source's time stamps are UTC.

    Attributes:
        samples: delivered to the inbox.
        unstamped: came without a source time stamp and took the server's.
        missed: notification messages that got lost on the way.
        overflows: samples before which the server's queue had overflowed.
        newly_mended: items whose values were no numbers for the first time, not told yet.
    """

    def __init__(self, link: Link, name: str, inbox: Inbox, clock: Literal["wall", "own"]) -> None:
        self._link, self._name, self._inbox = link, name, inbox
        self._wall = clock == "wall"
        self._items: dict[int, Item] = {}
        self._started_ns = 0
        self._sequence: int | None = None
        self._heard = 0
        self._silent_looks = 0
        self._looks_allowed = 4
        self.samples = self.unstamped = self.missed = self.overflows = 0
        self.newly_mended: list[Item] = []

    async def open(self, items: Sequence[Item]) -> list[tuple[Item, str]]:
        """Subscribe.

        Returns:
            the items that the server refuses, with its reason.

        Raises:
            SourceAway: the connection broke.
        """
        self._started_ns = await self._link.server_time_ns()
        created = await self._link.subscribe(
            ua.CreateSubscriptionParameters(
                RequestedPublishingInterval=PUBLISHING_MS,
                RequestedLifetimeCount=_LIFETIME,
                RequestedMaxKeepAliveCount=_KEEP_ALIVE,
                MaxNotificationsPerPublish=0,
                PublishingEnabled=True,
                Priority=0,
            ),
            self._take,
        )
        keep_alive_s = created.RevisedPublishingInterval * created.RevisedMaxKeepAliveCount / 1000
        # One look every 3 s; three keep-alives may be late.
        self._looks_allowed = 2 + math.ceil(3 * max(keep_alive_s, 1.0) / 3.0)
        refused: list[tuple[Item, str]] = []
        handles = count(1)
        for start in range(0, len(items), AT_ONCE):
            some = [(next(handles), item) for item in items[start : start + AT_ONCE]]
            self._items.update(some)
            results = await self._monitor(created.SubscriptionId, some)
            refused.extend(self._refused(some, results))
        return refused

    async def _monitor(
        self, subscription: int, some: Sequence[tuple[int, Item]]
    ) -> list[ua.MonitoredItemCreateResult]:
        """Ask for every sample, also one that repeats the value; where a server cannot, for every change."""
        results = list(await self._link.monitor(subscription, [_request(h, i.node) for h, i in some]))
        plain = [n for n, result in enumerate(results) if result.StatusCode.value in _NO_FILTER]
        if plain:
            requests = [_request(some[n][0], some[n][1].node, every=False) for n in plain]
            for n, result in zip(plain, await self._link.monitor(subscription, requests), strict=True):
                results[n] = result
        return results

    def check_alive(self) -> None:
        """Called every few seconds: a subscription that says nothing at all any more breaks the link."""
        self._silent_looks = self._silent_looks + 1 if self._heard == 0 else 0
        self._heard = 0
        if self._silent_looks > self._looks_allowed:
            self._link.broke("the server answers but sends nothing for the subscription any more")

    def _refused(
        self, some: Sequence[tuple[int, Item]], results: Sequence[ua.MonitoredItemCreateResult]
    ) -> Iterator[tuple[Item, str]]:
        for (handle, item), result in zip(some, results, strict=True):
            if not result.StatusCode.is_good():
                del self._items[handle]
                yield item, result.StatusCode.name
            elif result.RevisedSamplingInterval > 2 * SAMPLING_MS or result.RevisedQueueSize < QUEUE:
                _log.info(
                    "subscription_revised",
                    source=self._name,
                    tag=item.reading.tag.path,
                    sampling_ms=result.RevisedSamplingInterval,
                    queue=result.RevisedQueueSize,
                )

    def _take(self, result: ua.PublishResult) -> None:
        """One publish response, straight from the library's publish loop: must only enqueue."""
        self._heard += 1
        message = result.NotificationMessage
        if not message.NotificationData:
            return
        if self._sequence is not None:
            self.missed += max(0, message.SequenceNumber - self._sequence - 1)
        self._sequence = message.SequenceNumber
        for data in message.NotificationData:
            if isinstance(data, ua.DataChangeNotification):
                self._changes(data.MonitoredItems, message)
            elif isinstance(data, ua.StatusChangeNotification):
                self._link.broke(f"the server ended the subscription ({data.Status.name})")

    def _changes(
        self, changes: Sequence[ua.MonitoredItemNotification], message: ua.NotificationMessage
    ) -> None:
        put, name = self._inbox.put, self._name
        skipped_ns = 0
        for change in changes:
            item = self._items.get(change.ClientHandle)
            if item is None:
                continue
            data = change.Value
            status = data.StatusCode.value if data.StatusCode is not None else 0
            stamp = data.SourceTimestamp
            if stamp is None:
                self.unstamped += 1
                stamp = data.ServerTimestamp or message.PublishTime
            time_ns = ns_of(stamp)
            if status & _OVERFLOW == _OVERFLOW:
                self.overflows += 1
            reading = item.reading
            value, quality = reading.take(data.Value.Value if data.Value is not None else None, status)
            if reading.mended and not item.mended_told:
                item.mended_told = True
                self.newly_mended.append(item)
            if item.deadband is not None and not item.deadband.passes(time_ns, value, quality):
                skipped_ns = max(skipped_ns, time_ns)
                continue
            confirmed_ns = 0
            if item.fresh:
                item.fresh = False
                confirmed_ns = self._confirmed_ns(data)
            put(name, reading.tag.id, time_ns, value, quality, confirmed_ns)
            self.samples += 1
        if skipped_ns:
            self._inbox.alive(name, skipped_ns)

    def _confirmed_ns(self, data: ua.DataValue) -> int:
        """The source's own time at which it stood by the first value that it sent."""
        if not self._wall:
            return 1
        server_ns = ns_of(data.ServerTimestamp) if data.ServerTimestamp is not None else 0
        return max(server_ns, self._started_ns)


def _request(handle: int, node: ua.NodeId, *, every: bool = True) -> ua.MonitoredItemCreateRequest:
    return ua.MonitoredItemCreateRequest(
        ItemToMonitor=ua.ReadValueId(NodeId=node, AttributeId=AttributeIds.Value),
        MonitoringMode=ua.MonitoringMode.Reporting,
        RequestedParameters=ua.MonitoringParameters(
            ClientHandle=handle,
            SamplingInterval=SAMPLING_MS,
            QueueSize=QUEUE,
            DiscardOldest=True,
            Filter=_EVERY_SAMPLE if every else None,
        ),
    )
