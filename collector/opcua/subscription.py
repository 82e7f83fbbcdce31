"""Subscribes to a source's nodes and hands what they send to the inbox."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial

from asyncua import ua
from asyncua.ua.status_codes import StatusCodes

from collector.opcua.arriving import Arriving
from collector.opcua.items import Item, grouped
from collector.opcua.link import Link
from collector.opcua.sequence import InOrder
from collector.opcua.values import Changes, changes_of

KEEP_ALIVE_S = 3.0
LIFETIME_S = 60.0
_LOOK_EVERY_S = 3.0
_ASKED_AGAIN = 20  # messages; more than these are not worth to be asked for one by one

_NO_FILTER = {StatusCodes.BadMonitoredItemFilterUnsupported, StatusCodes.BadFilterNotAllowed}


@dataclass(slots=True)
class _Group:
    """The items that the server sends together: one subscription of its.

    Attributes:
        number: the server's.
        looks_allowed: how often it may be looked at without having said anything.
        messages: those that came, in order.
    """

    number: int = 0
    looks_allowed: int = 4
    heard: int = 0
    silent_looks: int = 0
    messages: InOrder = field(default_factory=InOrder)


class Subscription:
    """The running subscription of one connection.

    Args:
        link: the connection.
        arriving: takes what comes.
        breaks: whether to give the connection up when a message is lost for good, so that a gap is marked;
            else it is only counted.

    Attributes:
        missed: messages that got lost on the way.
        short: items that the server samples less often, or holds fewer of, than it was asked for.
    """

    def __init__(self, link: Link, arriving: Arriving, *, breaks: bool = True) -> None:
        self._link, self._arriving, self._breaks = link, arriving, breaks
        self._groups: list[_Group] = []
        self._incomplete = asyncio.Event()
        self.missed = 0
        self.short: list[tuple[Item, ua.MonitoredItemCreateResult]] = []

    async def open(self, items: Sequence[Item], publishing_ms: float) -> list[tuple[Item, str]]:
        """Subscribe.

        Args:
            items: those that the values are taken by, in the same order.
            publishing_ms: time between two messages.

        Returns:
            the items that the server refuses, with its reason.

        Raises:
            SourceAway: the connection broke.
        """
        handles = {id(item): handle for handle, item in enumerate(items, 1)}
        self._arriving.started_ns = await self._link.server_time_ns()
        refused: list[tuple[Item, str]] = []
        for rate_ms, some in grouped(items, publishing_ms, self._link.limits.items_each):
            group = await self._open_group(rate_ms)
            refused += await self._monitor(group, [(handles[id(item)], item) for item in some])
        return refused

    async def _open_group(self, publishing_ms: float) -> _Group:
        group = _Group()
        keep_alive = max(1, math.ceil(KEEP_ALIVE_S * 1000 / publishing_ms))
        created = await self._link.subscribe(
            ua.CreateSubscriptionParameters(
                RequestedPublishingInterval=publishing_ms,
                RequestedLifetimeCount=max(3 * keep_alive, math.ceil(LIFETIME_S * 1000 / publishing_ms)),
                RequestedMaxKeepAliveCount=keep_alive,
                MaxNotificationsPerPublish=0,
                PublishingEnabled=True,
                Priority=0,
            ),
            partial(self._take, group),
        )
        group.number = int(created.SubscriptionId)
        keep_alive_s = created.RevisedPublishingInterval * created.RevisedMaxKeepAliveCount / 1000
        # Three keep-alives may be late.
        group.looks_allowed = 2 + math.ceil(3 * max(keep_alive_s, 1.0) / _LOOK_EVERY_S)
        self._groups.append(group)
        return group

    async def _monitor(self, group: _Group, some: Sequence[tuple[int, Item]]) -> list[tuple[Item, str]]:
        """Ask for every sample, also one that repeats the value; where a server cannot, for every change."""
        results = list(await self._link.monitor(group.number, [item.request(h) for h, item in some]))
        plain = [n for n, result in enumerate(results) if result.StatusCode.value in _NO_FILTER]
        if plain:
            requests = [some[n][1].request(some[n][0], every=False) for n in plain]
            for n, result in zip(plain, await self._link.monitor(group.number, requests), strict=True):
                results[n] = result
        refused: list[tuple[Item, str]] = []
        for (_, item), result in zip(some, results, strict=True):
            if not result.StatusCode.is_good():
                refused.append((item, result.StatusCode.name))
            elif item.falls_short(result):
                self.short.append((item, result))
        return refused

    def check_alive(self) -> None:
        """Called every few seconds: a subscription that says nothing at all any more breaks the link."""
        for group in self._groups:
            group.silent_looks = group.silent_looks + 1 if group.heard == 0 else 0
            group.heard = 0
            if group.silent_looks > group.looks_allowed:
                self._link.broke("the server answers but sends nothing for the subscription any more")

    async def keep_complete(self) -> None:
        """Get again what got lost on the way, whenever something has; until cancelled.

        Raises:
            SourceAway: the connection broke.
        """
        while True:
            await self._incomplete.wait()
            self._incomplete.clear()
            for group in [g for g in self._groups if g.messages.missing]:
                await self._complete(group)

    async def _complete(self, group: _Group) -> None:
        missing = group.messages.missing
        lost = len(missing)
        for number in missing[:_ASKED_AGAIN]:
            message = await self._link.republish(group.number, number)
            if message is None:
                break
            self._accept(message)
            lost -= 1
        self.missed += lost
        if lost and self._breaks:
            # What waits is given up too: the gap that is marked now begins before it.
            self._link.broke(
                f"{lost} messages got lost on the way and the server does not have them any more"
            )
            return
        for message in group.messages.go_on():
            self._check(group, message)

    def _take(self, group: _Group, result: ua.PublishResult) -> None:
        """One publish response, straight from the library's publish loop: must only enqueue."""
        group.heard += 1
        message = result.NotificationMessage
        if message.NotificationData:
            self._check(group, message)

    def _check(self, group: _Group, message: ua.NotificationMessage) -> None:
        """Accept a message, unless one before it did not come."""
        if group.messages.come(message) is not None:
            self._accept(message)
        else:
            self._incomplete.set()

    def _accept(self, message: ua.NotificationMessage) -> None:
        for data in message.NotificationData:
            if isinstance(data, Changes):
                self._arriving.take(data, message.PublishTime)
            elif isinstance(data, ua.DataChangeNotification):
                self._arriving.take(changes_of(data), message.PublishTime)
            elif isinstance(data, ua.StatusChangeNotification):
                self._link.broke(f"the server ended the subscription ({data.Status.name})")
