"""The simulated line as a Sparkplug B 3.0 edge node on an MQTT broker."""

from __future__ import annotations

import time
from typing import Any

import structlog

from simulator.broker import Broker
from simulator.feed import Feed
from simulator.mqtt import Link
from simulator.opcua.published import Sample
from simulator.outbox import Message
from simulator.session import serve_session
from simulator.sparkplug.node import EdgeNode
from simulator.sparkplug.unsure import Unsure

_log = structlog.get_logger(__name__)


class EdgeSession:
    """One edge node over one connection after the other.

    What was missed in an outage follows the births, marked as historical.

    Args:
        limit: samples kept while the broker is away; beyond it the oldest are lost, and the log says so.
    """

    def __init__(self, broker: Broker, node: EdgeNode, *, limit: int = 500_000) -> None:
        self._broker = broker
        self._node = node
        # 1.5 keep-alives until silence counts as an outage, and a little for the way.
        self._unsure = Unsure(limit=limit, window_s=2.0 * broker.keepalive_s)
        self._link: Link | None = None
        self._tried: Link | None = None
        self._flying: set[int] = set()
        self._lost_told = 0

    @property
    def lost(self) -> int:
        """Samples lost so far because too much waited."""
        return self._unsure.lost

    def link(self) -> Link:
        """The next connection, with the death that belongs to it as its will."""
        # Sparkplug 3.0, 5.4: the number rises with each CONNECT that is sent, not with each try.
        again = self._tried is not None and not self._tried.reached
        will = self._node.last_words(time.time_ns()) if again else self._node.death(time.time_ns())
        self._tried = Link(self._broker, told=self._flying.discard, heard=self._heard, will=will)
        return self._tried

    def up(self, link: Link) -> None:
        """Be born, then tell what was missed."""
        self._link = link
        self._lost_told = self._unsure.lost
        link.subscribe(self._node.command_topic, 1)
        self._send(self._node.births(time.time_ns()))
        unsure = self._unsure.take()
        self._unsure.keep(unsure, time.monotonic())
        if missed := [sample for sample in unsure if not self._node.told_at_birth(sample)]:
            self._send(self._node.data(missed, time.time_ns(), historical=True))
            _log.info("missed_samples_sent", broker=str(self._broker), n=len(missed))

    def down(self) -> None:
        """Nothing can be sent any more."""
        self._link = None
        self._flying.clear()

    def take(self, samples: list[Sample]) -> None:
        """Publish the samples, or keep them for later."""
        self._node.remember(samples)
        now_s = time.monotonic()
        if self._link is not None:
            self._unsure.forget(now_s)
            self._send(self._node.data(samples, time.time_ns()))
        self._unsure.keep(samples, now_s)
        if self._unsure.lost > self._lost_told:
            # Once an outage, and then at every tenfold: a line a second would hide the rest of the log.
            _log.error("samples_lost", broker=str(self._broker), n=self._unsure.lost, why="too many wait")
            self._lost_told = 10 * self._unsure.lost

    def pending(self) -> int:
        """Messages that the system has not taken yet; without a connection, samples that wait."""
        return len(self._flying) if self._link is not None else len(self._unsure)

    async def part(self, link: Link) -> None:
        """Die in order: with MQTT 5 the broker publishes the will, with 3.1.1 we do it ourselves.

        Source: Sparkplug 3.0, 5.4 (edge node session termination).
        """
        if self._broker.version != "5":
            self._send([self._node.last_words(time.time_ns())])
        self.down()
        await link.end(with_will=True)

    def _heard(self, topic: str, body: bytes) -> None:
        if self._link is not None and self._node.asks_for_birth(topic, body):
            _log.info("rebirth_asked", broker=str(self._broker))
            self._send(self._node.births(time.time_ns()))

    def _send(self, messages: list[Message]) -> None:
        if self._link is not None:
            self._flying.update(self._link.publish(message) for message in messages)


async def serve_sparkplug(feed: Feed, broker: Broker, *, group: str, edge_node: str, **options: Any) -> None:
    """Publish a feed as an edge node; further options as for ``serve_session``.

    Raises:
        WrongInput, StoreReadOnly: as ``serve_session``; WrongInput for an id that cannot stand in a topic.
    """
    session = EdgeSession(broker, EdgeNode(group, edge_node, feed.tags))
    await serve_session(feed, session, broker, **options)
