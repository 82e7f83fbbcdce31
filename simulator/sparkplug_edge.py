"""The simulated line as a Sparkplug B 3.0 edge node on an MQTT broker."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import structlog

from simulator.bd_seq import read_bd_seq, write_bd_seq
from simulator.mqtt import Link
from simulator.published import Sample
from simulator.serving.broker import Broker
from simulator.serving.feed import Feed
from simulator.serving.lateness import part
from simulator.serving.outbox import Message
from simulator.serving.session import serve_session
from simulator.sparkplug.node import EdgeNode
from simulator.sparkplug.primary_host import PrimaryHost
from simulator.sparkplug.unsure import Unsure

_log = structlog.get_logger(__name__)


class EdgeSession:
    """One edge node over one connection after the other.

    What was missed in an outage follows the births, marked as historical; so does what a machine tells late.

    Args:
        away: says which sources nothing can be heard of: their devices are dead.
        limit: samples kept while the broker is away; beyond it the oldest are lost, and the log says so.
        primary_host: host without which nothing is published; None: it is not looked for.
        bd_seq_file: keeps the number of the connection over restarts; None: it begins at 0 each time.

    Raises:
        StoreReadOnly: the number cannot be kept.
    """

    def __init__(
        self,
        broker: Broker,
        node: EdgeNode,
        *,
        away: Callable[[], frozenset[str]] = frozenset,
        limit: int = 500_000,
        primary_host: PrimaryHost | None = None,
        bd_seq_file: Path | None = None,
    ) -> None:
        self._broker = broker
        self._node = node
        self._away = away
        self._host = primary_host
        self._bd_seq_file = bd_seq_file
        # 1.5 keep-alives until silence counts as an outage, and a little for the way.
        self._unsure = Unsure(limit=limit, window_s=2.0 * broker.keepalive_s)
        self._link: Link | None = None
        self._born = False
        self._owed: list[Sample] = []
        self._tried: Link | None = None
        self._flying: set[int] = set()
        self._lost_told = 0

    @property
    def lost(self) -> int:
        """Samples lost so far because too much waited."""
        return self._unsure.lost

    def link(self, broker: Broker) -> Link:
        """The next connection, with the death that belongs to it as its will."""
        # The number rises with each CONNECT that is sent, not with each try.
        again = self._tried is not None and not self._tried.reached
        will = self._node.last_words(time.time_ns()) if again else self._node.death(time.time_ns())
        if self._bd_seq_file is not None and not again:
            write_bd_seq(self._bd_seq_file, self._node.bd_seq)
        self._tried = Link(broker, told=self._flying.discard, heard=self._heard, will=will)
        return self._tried

    def up(self, link: Link) -> None:
        """Be born, unless there is a host to wait for."""
        self._link = link
        self._lost_told = self._unsure.lost
        for topic in self._node.command_topics:
            link.subscribe(topic, 1)
        if self._host is None:
            self._be_born()
        else:
            self._host.forget()
            link.subscribe(self._host.topic, 1)

    def _be_born(self) -> None:
        """Tell what there is, then what was missed."""
        self._born = True
        self._send(self._node.births(time.time_ns()))
        unsure = self._unsure.take()
        self._unsure.keep(unsure, time.monotonic())
        self._send_missed(list(dict.fromkeys([*self._owed, *unsure])))

    def _send_missed(self, samples: list[Sample]) -> None:
        """Send as history what no birth tells; what dead devices have missed waits for theirs."""
        node = self._node
        self._owed = [sample for sample in samples if node.dead(sample)]
        if missed := [s for s in samples if not node.dead(s) and not node.told_at_birth(s)]:
            self._send(self._node.data(missed, time.time_ns(), historical=True))
            _log.info("missed_samples_sent", broker=str(self._broker), n=len(missed))

    def down(self) -> None:
        """Nothing can be sent any more."""
        self._link = None
        self._born = False
        self._flying.clear()

    def take(self, samples: list[Sample]) -> None:
        """Publish the samples, or keep them for later."""
        self._node.remember(samples)
        now_s = time.monotonic()
        moved = self._node.mind(self._away(), time.time_ns())
        if self._born:
            if moved:
                self._send(moved)
                self._send_missed(self._owed)
            self._unsure.forget(now_s)
            late, of_now = part(samples)
            self._send(self._node.data(late, time.time_ns(), historical=True))
            self._send(self._node.data(of_now, time.time_ns()))
        self._unsure.keep(samples, now_s)
        if self._unsure.lost > self._lost_told:
            # Once an outage, and then at every tenfold: a line a second would hide the rest of the log.
            _log.error("samples_lost", broker=str(self._broker), n=self._unsure.lost, why="too many wait")
            self._lost_told = 10 * self._unsure.lost

    def pending(self) -> int:
        """Messages that the system has not taken yet; before a birth, samples that wait."""
        return len(self._flying) if self._born else len(self._unsure)

    async def part(self, link: Link) -> None:
        """Die in order: with MQTT 5 the broker publishes the will, with 3.1.1 we do it ourselves.

        Source: Sparkplug 3.0, tck-id-operational-behavior-edge-node-intentional-disconnect-ndeath.
        """
        born = self._born
        if born and self._broker.version != "5":
            self._send([self._node.last_words(time.time_ns())])
        self.down()
        await link.end(with_will=born)

    def _heard(self, topic: str, body: bytes) -> None:
        if self._link is None:
            return
        if self._host is not None and topic == self._host.topic:
            if self._host.hear(body):
                self._host_moved(self._link)
        elif self._born and (births := self._node.answer(topic, body, time.time_ns())):
            _log.info("rebirth_asked", broker=str(self._broker), topic=topic)
            self._send(births)

    def _host_moved(self, link: Link) -> None:
        """The host came: be born. It went: die, and begin with a new connection.

        Source: Sparkplug 3.0, tck-id-message-flow-edge-node-birth-publish-phid-offline.
        """
        if self._host is not None and self._host.online:
            _log.info("primary_host_online", topic=self._host.topic)
            self._be_born()
        else:
            _log.warning("primary_host_offline", broker=str(self._broker))
            link.leave()

    def _send(self, messages: list[Message]) -> None:
        if self._link is not None:
            self._flying.update(self._link.publish(message) for message in messages)


async def serve_sparkplug(
    feed: Feed,
    broker: Broker,
    *,
    group: str,
    edge_node: str,
    primary_host: str | None = None,
    bd_seq_file: Path | None = None,
    **options: Any,
) -> None:
    """Publish a feed as an edge node; further options as for ``serve_session``.

    Raises:
        WrongInput, StoreReadOnly: as ``serve_session``; WrongInput for an id that cannot stand in a topic.
        StoredDataDamaged: the file of the connection's number holds no number.
    """
    last = -1 if bd_seq_file is None else read_bd_seq(bd_seq_file)
    session = EdgeSession(
        broker,
        EdgeNode(group, edge_node, feed.tags, last_bd_seq=last),
        away=feed.away,
        primary_host=None if primary_host is None else PrimaryHost(primary_host),
        bd_seq_file=bd_seq_file,
    )
    await serve_session(feed, session, broker, **options)
