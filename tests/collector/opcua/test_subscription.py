"""What a publish response becomes, response by response, without a server."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta

import pytest
from asyncua import ua

from collector import Inbox, SourceMapping, TagMapping, tags_of
from collector.mapping import Reading
from collector.opcua.subscription import AT_ONCE, QUEUE, Item, Subscription
from collector.opcua.times import ns_of
from historian import NS, Tag
from historian.quality import SENSOR_FAILURE
from tests.collector.conftest import rows

T = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
MAPPING = SourceMapping("plc", "opc.tcp://x", False, (TagMapping("own.a.pv", "i=1", "1"),))
TAG = Tag("own.a.pv", "1", id=1)


class FakeLink:
    """Answers as a server does; refuses items whose node is number 13."""

    def __init__(self) -> None:
        self.broken: list[str] = []
        self.requests: list[Sequence[ua.MonitoredItemCreateRequest]] = []

    async def server_time_ns(self) -> int:
        return ns_of(T)

    async def subscribe(
        self, parameters: ua.CreateSubscriptionParameters, callback: Callable[[ua.PublishResult], None]
    ) -> ua.CreateSubscriptionResult:
        self.publish = callback
        return ua.CreateSubscriptionResult(
            7, parameters.RequestedPublishingInterval, 100, parameters.RequestedMaxKeepAliveCount
        )

    async def monitor(
        self, subscription: int, items: Sequence[ua.MonitoredItemCreateRequest]
    ) -> list[ua.MonitoredItemCreateResult]:
        self.requests.append(items)
        unknown = ua.StatusCode(ua.StatusCodes.BadNodeIdUnknown)
        return [
            ua.MonitoredItemCreateResult(
                StatusCode=unknown if i.ItemToMonitor.NodeId.Identifier == 13 else ua.StatusCode(),
                RevisedSamplingInterval=250.0,
                RevisedQueueSize=QUEUE,
            )
            for i in items
        ]

    def broke(self, why: str) -> None:
        self.broken.append(why)


def item(number: int = 1) -> Item:
    return Item(Reading(MAPPING.tags[0], TAG), ua.NodeId(number, 2))


async def opened(items: Sequence[Item], clock: str = "wall") -> tuple[FakeLink, Subscription, Inbox]:
    link = FakeLink()
    inbox = Inbox([MAPPING], {t.path: TAG for t in tags_of([MAPPING])})
    subscription = Subscription(link, "plc", inbox, clock)  # type: ignore[arg-type]
    await subscription.open(items)
    return link, subscription, inbox


def published(sequence: int, *values: ua.DataValue) -> ua.PublishResult:
    changes = ua.DataChangeNotification(
        MonitoredItems=[ua.MonitoredItemNotification(ClientHandle=1, Value=v) for v in values]
    )
    message = ua.NotificationMessage(sequence, T + timedelta(seconds=9), [changes] if values else [])
    return ua.PublishResult(7, NotificationMessage=message)


def value(
    x: object, *, source_s: float | None = 0.0, server_s: float | None = 1.0, status: int = 0
) -> ua.DataValue:
    return ua.DataValue(
        ua.Variant(x, ua.VariantType.Double) if x is not None else None,
        ua.StatusCode(status),
        SourceTimestamp=None if source_s is None else T + timedelta(seconds=source_s),
        ServerTimestamp=None if server_s is None else T + timedelta(seconds=server_s),
    )


async def test_the_source_time_counts_then_the_servers_then_that_of_the_message() -> None:
    link, subscription, inbox = await opened([item()])
    link.publish(
        published(1, value(1.0), value(2.0, source_s=None), value(3.0, source_s=None, server_s=None))
    )
    (frame,) = inbox.cut(ns_of(T) + 20 * NS)
    assert [(t - ns_of(T)) / NS for t in frame.time_ns.tolist()] == [0, 1, 9]
    assert subscription.unstamped == 2 and subscription.samples == 3


async def test_bad_values_arrive_as_bad_samples() -> None:
    link, _, inbox = await opened([item()])
    link.publish(published(1, value(None, status=SENSOR_FAILURE), value(5.0, source_s=1, status=0x80310000)))
    (frame,) = inbox.cut(ns_of(T))
    assert [q for *_, q in rows(frame)] == [SENSOR_FAILURE, 0x80310000]
    assert all(v != v for _, _, v, _ in rows(frame))  # noqa: PLR0124  (NaN)


async def test_messages_that_got_lost_are_counted_and_keep_alives_are_not() -> None:
    link, subscription, _ = await opened([item()])
    for sequence in (4, 5):
        link.publish(published(sequence, value(1.0)))
    link.publish(published(6))  # a keep-alive bears the number of the next message
    link.publish(published(6, value(1.0)))
    assert subscription.missed == 0
    link.publish(published(9, value(1.0)))
    assert subscription.missed == 2


async def test_an_overflowed_queue_is_counted() -> None:
    link, subscription, _ = await opened([item()])
    link.publish(published(1, value(1.0, status=0x0000_0480), value(2.0, status=0x0000_0400)))
    assert subscription.overflows == 1


async def test_a_subscription_that_the_server_ends_breaks_the_link() -> None:
    link, _, _ = await opened([item()])
    ended = ua.StatusChangeNotification(Status=ua.StatusCode(ua.StatusCodes.BadTimeout))
    link.publish(ua.PublishResult(7, NotificationMessage=ua.NotificationMessage(1, T, [ended])))
    assert len(link.broken) == 1 and "BadTimeout" in link.broken[0]


async def test_a_subscription_that_falls_silent_breaks_the_link() -> None:
    link, subscription, _ = await opened([item()])
    for _ in range(20):
        link.publish(published(1))
        subscription.check_alive()
    assert not link.broken
    for _ in range(20):
        subscription.check_alive()
    assert link.broken


async def test_items_go_in_groups_and_refused_ones_are_named() -> None:
    link = FakeLink()
    inbox = Inbox([MAPPING], {TAG.path: TAG})
    subscription = Subscription(link, "plc", inbox, "wall")  # type: ignore[arg-type]
    items = [item(n) for n in range(1, AT_ONCE + 51)]
    refused = await subscription.open(items)
    assert [len(r) for r in link.requests] == [AT_ONCE, 50]
    assert [(i.node.Identifier, why) for i, why in refused] == [(13, "BadNodeIdUnknown")]
    parameters = [r.RequestedParameters for group in link.requests for r in group]
    assert len({p.ClientHandle for p in parameters}) == len(items)
    assert {(p.SamplingInterval, p.QueueSize, p.DiscardOldest) for p in parameters} == {(250.0, QUEUE, True)}


@pytest.mark.parametrize(("clock", "confirmed_s"), [("wall", 1.0), ("own", None)])
async def test_the_first_value_bears_when_the_server_stood_by_it(
    clock: str, confirmed_s: float | None
) -> None:
    link, _, inbox = await opened([item()], clock)
    put: list[tuple[object, ...]] = []
    inbox.put = lambda *row: put.append(row)  # type: ignore[method-assign,assignment]
    link.publish(published(1, value(1.0, source_s=-500), value(2.0, source_s=2)))
    assert [row[-1] for row in put] == [1 if confirmed_s is None else ns_of(T) + int(confirmed_s * NS), 0]
