"""Messages of subscriptions: how they are asked for, what is missing, and what comes of it; without a server."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime

from asyncua import ua

from collector import Inbox, SourceMapping, TagMapping, tags_of
from collector.opcua.arriving import Arriving
from collector.opcua.items import Item, Sampling
from collector.opcua.limits import Limits
from collector.opcua.subscription import Subscription
from collector.opcua.times import ns_of
from collector.reading.mapping import Reading
from historian import NS, Tag
from tests.collector.conftest import rows

T = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
MAPPING = SourceMapping("plc", "opc.tcp://x", False, (TagMapping("own.a.pv", "i=1", "1"),))
TAG = Tag("own.a.pv", "1", id=1)


@dataclass
class FakeLink:
    """Answers as a server does; refuses items whose node is number 13, filters where it is told to.

    Attributes:
        kept: messages that it still has, by number.
        least_ms: it samples no faster.
    """

    limits: Limits = field(default_factory=Limits)
    filters: bool = True
    least_ms: float = 0.0
    kept: dict[int, ua.NotificationMessage] = field(default_factory=dict)
    broken: list[str] = field(default_factory=list)
    opened: list[ua.CreateSubscriptionParameters] = field(default_factory=list)
    requests: list[tuple[int, Sequence[ua.MonitoredItemCreateRequest]]] = field(default_factory=list)
    callbacks: list[Callable[[ua.PublishResult], None]] = field(default_factory=list)

    async def server_time_ns(self) -> int:
        return ns_of(T)

    async def subscribe(
        self, parameters: ua.CreateSubscriptionParameters, callback: Callable[[ua.PublishResult], None]
    ) -> ua.CreateSubscriptionResult:
        self.opened.append(parameters)
        self.callbacks.append(callback)
        return ua.CreateSubscriptionResult(
            len(self.opened),
            parameters.RequestedPublishingInterval,
            100,
            parameters.RequestedMaxKeepAliveCount,
        )

    async def monitor(
        self, subscription: int, items: Sequence[ua.MonitoredItemCreateRequest]
    ) -> list[ua.MonitoredItemCreateResult]:
        self.requests.append((subscription, items))
        return [self._created(i) for i in items]

    def _created(self, item: ua.MonitoredItemCreateRequest) -> ua.MonitoredItemCreateResult:
        asked = item.RequestedParameters
        status = ua.StatusCode()
        if item.ItemToMonitor.NodeId.Identifier == 13:
            status = ua.StatusCode(ua.StatusCodes.BadNodeIdUnknown)
        elif not self.filters and asked.Filter is not None:
            status = ua.StatusCode(ua.StatusCodes.BadMonitoredItemFilterUnsupported)
        return ua.MonitoredItemCreateResult(
            StatusCode=status,
            RevisedSamplingInterval=max(asked.SamplingInterval, self.least_ms),
            RevisedQueueSize=asked.QueueSize,
        )

    async def republish(self, subscription: int, sequence: int) -> ua.NotificationMessage | None:
        return self.kept.get(sequence)

    def broke(self, why: str) -> None:
        self.broken.append(why)

    def publish(self, sequence: int, *values: float, group: int = 0) -> None:
        self.callbacks[group](ua.PublishResult(7, NotificationMessage=message(sequence, *values)))


def item(number: int = 1, every_ms: float = 250.0) -> Item:
    return Item(Reading(MAPPING.tags[0], TAG), ua.NodeId(number, 2), Sampling(every_ms))


def message(sequence: int, *values: float) -> ua.NotificationMessage:
    changes = [
        ua.MonitoredItemNotification(
            ClientHandle=1,
            Value=ua.DataValue(
                ua.Variant(v, ua.VariantType.Double), SourceTimestamp=at(v), ServerTimestamp=T
            ),
        )
        for v in values
    ]
    data = [ua.DataChangeNotification(MonitoredItems=changes)] if values else []
    return ua.NotificationMessage(sequence, T, data)


def at(value: float) -> datetime:
    """Each value's time: as many seconds after the start."""
    return datetime.fromtimestamp(T.timestamp() + value, UTC)


async def opened(
    link: FakeLink, items: Sequence[Item], *, breaks: bool = True, publishing_ms: float = 250.0
) -> tuple[Subscription, Inbox, list[tuple[Item, str]]]:
    inbox = Inbox([MAPPING], {t.path: TAG for t in tags_of([MAPPING])})
    subscription = Subscription(link, Arriving("plc", inbox, "wall", items), breaks=breaks)  # type: ignore[arg-type]
    refused = await subscription.open(items, publishing_ms)
    return subscription, inbox, refused


@asynccontextmanager
async def completing(subscription: Subscription) -> AsyncIterator[None]:
    task = asyncio.create_task(subscription.keep_complete())
    try:
        yield
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def values(inbox: Inbox) -> list[float]:
    for _ in range(10):
        await asyncio.sleep(0)
    return [v for frame in inbox.cut(ns_of(T) + 60 * NS) for _, _, v, _ in rows(frame)]


async def test_a_message_that_got_lost_is_asked_for_again_and_the_others_wait() -> None:
    link = FakeLink(kept={2: message(2, 2.0)})
    subscription, inbox, _ = await opened(link, [item()])
    async with completing(subscription):
        link.publish(1, 1.0)
        link.publish(3, 3.0)
        link.publish(4, 4.0)
        assert await values(inbox) == [1.0, 2.0, 3.0, 4.0]
    assert subscription.missed == 0 and not link.broken


async def test_a_message_that_is_lost_for_good_breaks_the_link_before_what_came_behind_it() -> None:
    link = FakeLink()
    subscription, inbox, _ = await opened(link, [item()])
    async with completing(subscription):
        link.publish(1, 1.0)
        link.publish(4, 4.0)
        assert await values(inbox) == [1.0]
    assert subscription.missed == 2
    assert len(link.broken) == 1 and "2 messages" in link.broken[0]


async def test_a_server_that_counts_wrong_is_not_given_up_again_and_again() -> None:
    link = FakeLink()
    subscription, inbox, _ = await opened(link, [item()], breaks=False)
    async with completing(subscription):
        for number in (1, 3, 5):
            link.publish(number, float(number))
            assert await values(inbox) != []
            link.publish(number + 1)  # a keep-alive bears the number of the next message
    assert subscription.missed == 2 and not link.broken


async def test_the_numbers_begin_anew_at_one() -> None:
    link = FakeLink()
    subscription, inbox, _ = await opened(link, [item()])
    async with completing(subscription):
        for number, value in ((2**32 - 2, 1.0), (2**32 - 1, 2.0), (1, 3.0), (2, 4.0)):
            link.publish(number, value)
        assert await values(inbox) == [1.0, 2.0, 3.0, 4.0]
    assert subscription.missed == 0


async def test_a_subscription_that_the_server_ends_breaks_the_link() -> None:
    link = FakeLink()
    await opened(link, [item()])
    ended = ua.StatusChangeNotification(Status=ua.StatusCode(ua.StatusCodes.BadTimeout))
    link.callbacks[0](ua.PublishResult(7, NotificationMessage=ua.NotificationMessage(1, T, [ended])))
    assert len(link.broken) == 1 and "BadTimeout" in link.broken[0]


async def test_a_subscription_that_falls_silent_breaks_the_link() -> None:
    link = FakeLink()
    subscription, _, _ = await opened(link, [item()])
    for _ in range(20):
        link.publish(1)
        subscription.check_alive()
    assert not link.broken
    for _ in range(20):
        subscription.check_alive()
    assert link.broken


async def test_rates_and_limits_make_several_subscriptions() -> None:
    link = FakeLink(limits=Limits(items_each=2))
    items = [item(1), item(2, 10_000.0), item(3, 100.0), item(4), item(5, 1000.0), item(13)]
    _, _, refused = await opened(link, items)
    asked = [
        (
            link.opened[group - 1].RequestedPublishingInterval,
            [i.ItemToMonitor.NodeId.Identifier for i in some],
        )
        for group, some in link.requests
    ]
    assert asked == [(250.0, [1, 3]), (250.0, [4, 13]), (1000.0, [5]), (5000.0, [2])]
    handles = [i.RequestedParameters.ClientHandle for _, some in link.requests for i in some]
    assert sorted(handles) == [1, 2, 3, 4, 5, 6]
    assert [(i.node.Identifier, why) for i, why in refused] == [(13, "BadNodeIdUnknown")]
    alive_s = [p.RequestedPublishingInterval * p.RequestedMaxKeepAliveCount / 1000 for p in link.opened]
    assert alive_s == [3.0, 3.0, 3.0, 5.0]
    assert all(p.RequestedLifetimeCount >= 3 * p.RequestedMaxKeepAliveCount for p in link.opened)


async def test_every_sample_is_asked_for_and_every_change_where_that_is_refused() -> None:
    link = FakeLink(filters=False)
    _, _, refused = await opened(link, [item(1), item(2)])
    assert refused == []
    first, second = link.requests
    assert all(
        i.RequestedParameters.Filter.Trigger == ua.DataChangeTrigger.StatusValueTimestamp for i in first[1]
    )
    assert [i.RequestedParameters.Filter for i in second[1]] == [None, None]


async def test_what_the_server_does_less_often_is_known() -> None:
    link = FakeLink(least_ms=1000.0)
    subscription, _, _ = await opened(link, [item(1), item(2, 2000.0), item(3, 0.0)])
    assert [i.node.Identifier for i, _ in subscription.short] == [1]
    asked = [i.RequestedParameters for _, items in link.requests for i in items]
    assert (0.0, 1000) in [(a.SamplingInterval, a.QueueSize) for a in asked]
