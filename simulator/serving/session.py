"""Publishes a feed through a broker that may go away: the line runs on, and the connection comes back."""

from __future__ import annotations

import asyncio
import contextlib
import random
import time
from collections.abc import AsyncIterator, Callable, Coroutine, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final, Protocol

import structlog

from historian.errors import OutsideWorldAway, WrongInput
from simulator.mqtt import Link
from simulator.published import Sample
from simulator.serving.broker import Broker
from simulator.serving.feed import Feed
from simulator.serving.lateness import SourceClock
from simulator.serving.ledger import Ledger
from simulator.serving.pace import Pace, seconds_due, stopped_by_signal
from simulator.serving.serving import Serving, check_speed
from simulator.serving.trouble import DEEDS, Trouble, check_troubles, make_when_due, needs_relay
from simulator.serving.trouble_relay import TroubleRelay

_DRAIN_S: Final = 5.0
_LOOK_S: Final = 0.02
_FIRST_WAIT_S, _LONGEST_WAIT_S = 0.25, 5.0

_log = structlog.get_logger(__name__)


class Session(Protocol):
    """What is said over one connection after the other."""

    def link(self, broker: Broker) -> Link:
        """The next connection, not yet open, by way of that address."""
        ...

    def up(self, link: Link) -> None:
        """The connection stands."""
        ...

    def down(self) -> None:
        """The connection is gone."""
        ...

    def take(self, samples: list[Sample]) -> None:
        """These samples are to be published."""
        ...

    def pending(self) -> int:
        """How much is not yet with the broker."""
        ...

    async def part(self, link: Link) -> None:
        """Say goodbye and let go of the connection."""
        ...


async def serve_session(
    feed: Feed,
    session: Session,
    broker: Broker,
    *,
    speed: float = 1.0,
    ledger: Path | None = None,
    troubles: Sequence[Trouble] = (),
    relay: bool = False,
    stop: asyncio.Event | None = None,
    ready: Callable[[Serving], None] | None = None,
) -> None:
    """Publish a feed over a session until it ends or is stopped.

    The line runs whether the broker is there or not; ``ready`` is called after the first try to connect.

    Args:
        troubles: what is done to the connection with the broker, and when.
        relay: whether it can be made trouble with that ``troubles`` does not name.

    Raises:
        WrongInput: the speed is out of range, a trouble cannot be made, or the broker refuses the first
            login.
        StoreReadOnly: the ledger cannot be written.
    """
    check_speed(speed, feed.speeds)
    check_troubles(troubles, set(DEEDS) - {"new certificate"}, "a publisher: the certificate is the broker's")
    async with contextlib.AsyncExitStack() as stack:
        book = stack.enter_context(Ledger(ledger)) if ledger is not None else None
        if stop is None:
            stop = stack.enter_context(stopped_by_signal())
        between = None
        if relay or needs_relay(troubles):
            between = await stack.enter_async_context(
                TroubleRelay.listening("127.0.0.1", 0, (broker.host, broker.port))
            )
        connection = _Connection(session, broker, between)
        publish = _Publisher(connection, book)
        await connection.connect()
        now_ns, begun_s = time.time_ns() // 1_000_000 * 1_000_000, time.monotonic()
        zero_ns = feed.begin(now_ns)
        publish(feed.at(feed.start_s))
        async with _beside(connection.stay(), make_when_due(troubles, publish, begun_s)):
            if ready is not None:
                ready(Serving(str(broker), zero_ns, feed.start_s, feed.tags, publish))
            async for second in seconds_due(Pace(feed.start_s, begun_s, speed), stop, feed.last_s):
                publish(feed.at(second))
            await _drain(session, broker, stop)


class _Publisher:
    """Hands each second's samples to the session and the ledger, and can be made to misbehave."""

    def __init__(self, connection: _Connection, book: Ledger | None) -> None:
        self._connection = connection
        self._book = book
        self._clock = SourceClock()

    def __call__(self, samples: list[Sample]) -> None:
        samples = self._clock.stamped(samples)
        if self._book is not None and samples:
            self._book.write(samples)
        self._connection.session.take(samples)

    async def make(self, trouble: Trouble) -> None:
        """Make the line misbehave.

        Raises:
            WrongInput: a connection cannot be broken without a relay.
        """
        between = self._connection.relay
        if trouble.do == "skew":
            self._clock.skew(trouble.by_s)
        elif trouble.do == "restart":
            self._connection.restart(trouble.for_s)
        elif between is not None:
            await between.make(trouble)
        else:
            raise WrongInput(f"'{trouble.do}' needs a relay on the way to the broker")


@contextlib.asynccontextmanager
async def _beside(*works: Coroutine[None, None, None]) -> AsyncIterator[None]:
    """Work that goes on beside the block, and is cancelled with its end."""
    async with asyncio.TaskGroup() as group:
        tasks = [group.create_task(work) for work in works]
        try:
            yield
        finally:
            for task in tasks:
                task.cancel()


async def _drain(session: Session, broker: Broker, stop: asyncio.Event) -> None:
    """Give what is on its way time to arrive; be loud about what does not.

    At the end of a recording that is as long as anything moves; after a stop, a few seconds.
    """
    left, until_s = session.pending(), time.monotonic() + _DRAIN_S
    while left and time.monotonic() < until_s:
        await asyncio.sleep(_LOOK_S)
        now_left = session.pending()
        if now_left < left and not stop.is_set():
            until_s = time.monotonic() + _DRAIN_S
        left = now_left
    if left:
        _log.error("messages_left_unsent", broker=str(broker), n=left)


class _Connection:
    """The way to the broker: one connection after the other.

    Attributes:
        session: what is said over them.
        relay: what stands between; None: nothing.
    """

    def __init__(self, session: Session, broker: Broker, relay: TroubleRelay | None) -> None:
        self.session = session
        self.relay = relay
        self._broker = broker
        self._link: Link | None = None
        self._resting_s = 0.0

    def restart(self, down_s: float) -> None:
        """Say goodbye, and come back after that time."""
        self._resting_s = down_s
        if self._link is not None:
            self._link.leave()

    async def connect(self) -> None:
        """Try to connect once.

        Raises:
            WrongInput: the broker refuses the login.
        """
        link = self.session.link(self._by_way_of())
        try:
            await link.open()
        except OutsideWorldAway as error:
            _log.warning("broker_away", broker=str(self._broker), reason=str(error))
            return
        _log.info("broker_connected", broker=str(self._broker))
        self._link = link

    async def stay(self) -> None:
        """Keep a connection until cancelled; waits double between the tries."""
        wait_s = _FIRST_WAIT_S
        while True:
            if self._link is not None:
                await self._through(self._link)
                wait_s = _FIRST_WAIT_S
            await asyncio.sleep(wait_s * random.uniform(0.75, 1.25))
            wait_s = min(2 * wait_s, _LONGEST_WAIT_S)
            try:
                await self.connect()
            except WrongInput as error:  # it let us in before: its files may be mended while we wait
                _log.error("login_refused", broker=str(self._broker), reason=str(error))

    def _by_way_of(self) -> Broker:
        if self.relay is None:
            return self._broker
        return replace(
            self._broker, host=self.relay.host, port=self.relay.port, server_name=self._broker.host
        )

    async def _through(self, link: Link) -> None:
        """Use the connection until it is gone or we are cancelled."""
        self.session.up(link)
        try:
            await link.down.wait()
        except asyncio.CancelledError:
            await self.session.part(link)
            raise
        self._link = None
        if not link.leaving:
            self.session.down()
            await link.end()
            _log.warning("broker_lost", broker=str(self._broker))
            return
        await self.session.part(link)
        _log.warning("broker_left", broker=str(self._broker))
        resting_s, self._resting_s = self._resting_s, 0.0
        await asyncio.sleep(resting_s)
