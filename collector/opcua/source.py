"""An OPC UA server as a source: connects, subscribes, says what is wrong, and comes back by itself."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Mapping
from contextlib import nullcontext

import structlog

from collector.backoff import Backoff
from collector.clock import Clock, WallClock
from collector.deadband import Deadband
from collector.errors import SourceAway, SourceRefused, WrongNode
from collector.inbox import Inbox
from collector.mapping import Reading, SourceMapping
from collector.opcua.access import OPEN, Access
from collector.opcua.conditions import Conditions
from collector.opcua.expiry import ExpiryWatch
from collector.opcua.link import Link
from collector.opcua.nodes import check_node, resolve
from collector.opcua.subscription import Item, Subscription
from collector.opcua.units import read_units
from collector.source import SourceState, SourceStatus
from collector.told_unit import settled
from historian.errors import UnitMismatch
from historian.event import Event, EventSink
from historian.quality import NODE_ID_UNKNOWN
from historian.tags import Tag

SIMULATED_NAMESPACE = "urn:meltledger:simulated-line"
"""Every simulated line has this namespace, so that its data can never pass for a machine's."""

_REFUSED_WAIT_S = 60.0

_log = structlog.get_logger(__name__)


class OpcUaSource:
    """Collects a source's tags from its OPC UA server.

    Args:
        mapping: the source.
        tags: as the store knows them, by path.
        access: how to get in at the server.
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
        alarms: Conditions | None = None,
        clock: Clock | None = None,
        backoff: Backoff | None = None,
    ) -> None:
        for tag in mapping.tags:
            check_node(tag.address)
        self._mapping, self._access, self._alarms = mapping, access, alarms
        self._expiry = ExpiryWatch(mapping.name)
        self._readings = [Reading(t, tags[t.path]) for t in mapping.tags]
        self._clock = clock or WallClock()
        self._backoff = backoff or Backoff(0.5, 4.0)
        self._said: set[tuple[str, str]] = set()
        self._told_unknown: dict[str, str] = {}
        self._samples = 0
        self._subscription: Subscription | None = None
        self._status = SourceStatus(mapping.name, SourceState.WAITING, self._clock.now_ns())

    @property
    def name(self) -> str:
        """The source's name, as tags carry it."""
        return self._mapping.name

    @property
    def status(self) -> SourceStatus:
        """How it stands now."""
        old = self._status
        delivered = self._samples + (self._subscription.samples if self._subscription else 0)
        return SourceStatus(old.name, old.state, old.since_ns, old.text, delivered, old.unknown)

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        """Deliver until cancelled; says every change of state to the sink."""
        while True:
            try:
                await self._connect(inbox, sink)
            except SourceRefused as error:
                self._refused(error, inbox, sink)
                await self._access.again(error, _REFUSED_WAIT_S)
            except SourceAway as error:
                wait_s = self._backoff.next_s()
                self._away(error, wait_s, inbox, sink)
                await asyncio.sleep(wait_s)

    async def _connect(self, inbox: Inbox, sink: EventSink) -> None:
        """Connect and collect until the connection breaks."""
        async with Link.opened(self._mapping.endpoint, self._access, self._clock) as link:
            if SIMULATED_NAMESPACE in link.namespaces and not self._mapping.simulated:
                raise SourceRefused(
                    f"source {self.name}: {self._mapping.endpoint} is a simulated line; mark the source "
                    "simulated = true, or give the machine's own address"
                )
            subscription = Subscription(link, self.name, inbox, self._mapping.clock)
            self._subscription = subscription
            try:
                unknown = await self._subscribe(link, subscription, inbox, sink)
                self._connected(unknown, sink)
                self._tell_expiry(link, sink)
                async with self._alarms.heard(link, sink) if self._alarms else nullcontext():
                    await link.watch(lambda time_ns: self._look(subscription, time_ns, inbox, sink, link))
            finally:
                self._look(subscription, 0, inbox, sink, link)
                self._samples += subscription.samples
                self._subscription = None

    async def _subscribe(
        self, link: Link, subscription: Subscription, inbox: Inbox, sink: EventSink
    ) -> tuple[str, ...]:
        """Subscribe to every tag that can be had; gives the tags that cannot."""
        unknown: dict[str, str] = {}
        items: list[Item] = []
        for reading in self._readings:
            path, width = reading.tag.path, reading.mapping.deadband
            try:
                node = resolve(reading.mapping.address, link.namespaces)
            except WrongNode as error:
                unknown[path] = str(error)
                continue
            items.append(Item(reading, node, Deadband(width) if width > 0 else None))
        items, wrong_unit = await self._agreeing(link, items)
        for item, reason in await subscription.open(items):
            unknown[item.reading.tag.path] = f"node '{item.reading.mapping.address}': {reason}"
        self._tell_unknown(unknown, sink)
        self._tell_wrong_units(wrong_unit, sink)
        if self._mapping.clock == "wall":
            now_ns = await link.server_time_ns()
            for reading in self._readings:
                if reading.tag.path in unknown:
                    inbox.put(self.name, reading.tag.id, now_ns, math.nan, NODE_ID_UNKNOWN)
        return (*unknown, *wrong_unit)

    async def _agreeing(self, link: Link, items: list[Item]) -> tuple[list[Item], dict[str, str]]:
        """The items whose unit the server confirms, tells or leaves open; the others, with what disagrees."""
        units = await read_units(link, [item.node for item in items])
        agreeing: list[Item] = []
        refused: dict[str, str] = {}
        for item, unit in zip(items, units, strict=True):
            reading = item.reading
            try:
                if unit is not None:
                    item.reading = Reading(settled(reading.mapping, reading.tag, unit), reading.tag)
            except UnitMismatch as error:
                refused[reading.tag.path] = str(error)
            else:
                agreeing.append(item)
        return agreeing, refused

    def _look(
        self, subscription: Subscription, time_ns: int, inbox: Inbox, sink: EventSink, link: Link
    ) -> None:
        """Every few seconds: tell what the subscription noticed, and hand on the source's time."""
        if time_ns and self._mapping.clock == "wall":
            inbox.alive(self.name, time_ns)
        for item in subscription.newly_mended:
            path = item.reading.tag.path
            text = (
                f"Tag {path}: source {self.name} sent something that is no number and called it good; it is "
                f"kept as a broken sensor. Remedy: look at node {item.reading.mapping.address} and its sensor."
            )
            self._say_once("not-a-number", path, text, sink)
        subscription.newly_mended.clear()
        if subscription.missed or subscription.overflows:
            text = (
                f"Source {self.name}: {subscription.missed} messages got lost on the way and "
                f"{subscription.overflows} times its queue had overflowed; some samples are missing. "
                "Remedy: check the load of the network and of the server."
            )
            data = {"messages": subscription.missed, "overflows": subscription.overflows}
            subscription.missed = subscription.overflows = 0
            self._say("samples-dropped", text, sink, data)
        if time_ns:
            # Only a connection that held for a while counts as a try that worked.
            self._backoff.reset()
            subscription.check_alive()
            self._tell_expiry(link, sink)

    def _connected(self, unknown: tuple[str, ...], sink: EventSink) -> None:
        had = len(self._readings) - len(unknown)
        text = (
            f"Source {self.name} is connected: {self._mapping.endpoint}, {had} of {len(self._readings)} tags."
        )
        self._enter(SourceState.CONNECTED, text, unknown)
        self._say("source-connected", text, sink, self.status.to_json())

    def _away(self, error: SourceAway, wait_s: float, inbox: Inbox, sink: EventSink) -> None:
        """Tell a loss, or an endpoint that is down at the start, once; further tries fail quietly."""
        state = self._status.state
        inbox.lost(self.name)
        if state is SourceState.CONNECTED:
            text = (
                f"Source {self.name} is lost: {error}. It is tried again by itself; the gap is marked as bad."
            )
            self._enter(SourceState.LOST, text, self._status.unknown)
            self._say("source-lost", text, sink, self.status.to_json())
        elif state is SourceState.WAITING and not self._status.text:
            text = (
                f"Source {self.name} does not answer: {error}. Next try in {wait_s:.1f} s, then again by "
                "itself. Remedy: check that the address is right and the machine is switched on."
            )
            self._enter(SourceState.WAITING, text, ())
            self._say("source-waiting", text, sink, {**self.status.to_json(), "next_try_s": round(wait_s, 1)})
        else:
            _log.debug("source_still_away", source=self.name, error=str(error), next_try_s=round(wait_s, 1))

    def _refused(self, error: SourceRefused, inbox: Inbox, sink: EventSink) -> None:
        text = f"Nothing is collected: {error}."
        if (self._status.state, self._status.text) != (SourceState.REFUSED, text):
            inbox.lost(self.name)
            self._enter(SourceState.REFUSED, text, ())
            self._say("source-refused", text, sink, self.status.to_json())

    def _tell_expiry(self, link: Link, sink: EventSink) -> None:
        for event in self._expiry.due(link.papers, self._clock.now_ns()):
            self._say(event.kind, event.text, sink, event.data)

    def _tell_unknown(self, unknown: Mapping[str, str], sink: EventSink) -> None:
        if unknown and unknown != self._told_unknown:
            listed = "; ".join(f"{path}: {why}" for path, why in unknown.items())
            text = (
                f"Source {self.name} does not know {len(unknown)} of {len(self._readings)} nodes; the other "
                f"tags go on. {listed}. Remedy: correct the node in the line's file, or load the program "
                "that has it."
            )
            self._say("unknown-node", text, sink, {"tags": dict(unknown)})
        self._told_unknown = dict(unknown)

    def _tell_wrong_units(self, refused: Mapping[str, str], sink: EventSink) -> None:
        for path, said in refused.items():
            text = (
                f"Tag {path} of source {self.name} is not collected: {said}. Remedy: write the unit that the "
                "machine really delivers into the line's file."
            )
            self._say_once("unit-refused", path, text, sink)

    def _enter(self, state: SourceState, text: str, unknown: tuple[str, ...]) -> None:
        self._status = SourceStatus(self.name, state, self._clock.now_ns(), text, 0, unknown)

    def _say_once(self, kind: str, path: str, text: str, sink: EventSink) -> None:
        if (kind, path) not in self._said:
            self._said.add((kind, path))
            self._say(kind, text, sink, {"tag": path})

    def _say(self, kind: str, text: str, sink: EventSink, data: Mapping[str, object]) -> None:
        _log.info("source_told", source=self.name, kind=kind, text=text)
        sink(Event(self._clock.now_ns(), self.name, kind, text, data))
