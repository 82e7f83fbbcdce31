"""Publishes a feed through a broker that may go away: the line runs on, and the connection comes back."""

from __future__ import annotations

import asyncio
import contextlib
import random
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Final, Protocol

import structlog

from historian.errors import OutsideWorldAway, WrongInput
from simulator.broker import Broker
from simulator.feed import Feed
from simulator.mqtt import Link
from simulator.opcua.ledger import Ledger
from simulator.opcua.published import Sample
from simulator.pace import Pace, seconds_due, stopped_by_signal
from simulator.serving import Serving, check_speed

_DRAIN_S: Final = 5.0
_LOOK_S: Final = 0.02
_FIRST_WAIT_S, _LONGEST_WAIT_S = 0.25, 5.0

_log = structlog.get_logger(__name__)


class Session(Protocol):
    """What is said over one connection after the other."""

    def link(self) -> Link:
        """The next connection, not yet open."""
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
    stop: asyncio.Event | None = None,
    ready: Callable[[Serving], None] | None = None,
) -> None:
    """Publish a feed over a session until it ends or is stopped.

    The line runs whether the broker is there or not; ``ready`` is called after the first try to connect.

    Raises:
        WrongInput: the speed is out of range, or the broker refuses the first login.
        StoreReadOnly: the ledger cannot be written.
    """
    check_speed(speed, feed.speeds)
    with contextlib.ExitStack() as stack:
        book = stack.enter_context(Ledger(ledger)) if ledger is not None else None
        if stop is None:
            stop = stack.enter_context(stopped_by_signal())

        def publish(samples: list[Sample]) -> None:
            if book is not None and samples:
                book.write(samples)
            session.take(samples)

        link = await _try(session, broker)
        now_ns, begun_s = time.time_ns() // 1_000_000 * 1_000_000, time.monotonic()
        zero_ns = feed.begin(now_ns)
        publish(feed.at(feed.start_s))
        async with _staying_connected(session, broker, link):
            if ready is not None:
                ready(Serving(str(broker), zero_ns, feed.start_s, feed.tags))
            async for second in seconds_due(Pace(feed.start_s, begun_s, speed), stop, feed.last_s):
                publish(feed.at(second))
            await _drain(session, broker)


async def _drain(session: Session, broker: Broker) -> None:
    """Give what is on its way a few seconds to arrive; be loud about what does not."""
    for _ in range(round(_DRAIN_S / _LOOK_S)):
        if not session.pending():
            return
        await asyncio.sleep(_LOOK_S)
    if left := session.pending():
        _log.error("messages_left_unsent", broker=str(broker), n=left)


async def _try(session: Session, broker: Broker) -> Link | None:
    link = session.link()
    try:
        await link.open()
    except OutsideWorldAway as error:
        _log.warning("broker_away", broker=str(broker), reason=str(error))
        return None
    _log.info("broker_connected", broker=str(broker))
    return link


@contextlib.asynccontextmanager
async def _staying_connected(session: Session, broker: Broker, first: Link | None) -> AsyncIterator[None]:
    async with asyncio.TaskGroup() as group:
        keeper = group.create_task(_stay_connected(session, broker, first))
        try:
            yield
        finally:
            keeper.cancel()


async def _stay_connected(session: Session, broker: Broker, link: Link | None) -> None:
    """Keep a connection until cancelled; waits double between the tries."""
    wait_s = _FIRST_WAIT_S
    while True:
        if link is not None:
            await _through(session, link)
            _log.warning("broker_lost", broker=str(broker))
            wait_s = _FIRST_WAIT_S
        await asyncio.sleep(wait_s * random.uniform(0.75, 1.25))
        wait_s = min(2 * wait_s, _LONGEST_WAIT_S)
        try:
            link = await _try(session, broker)
        except WrongInput as error:  # it let us in before: its files may be mended while we wait
            _log.error("login_refused", broker=str(broker), reason=str(error))
            link = None


async def _through(session: Session, link: Link) -> None:
    """Use the connection until it is gone or we are cancelled."""
    session.up(link)
    try:
        await link.down.wait()
    except asyncio.CancelledError:
        await session.part(link)
        raise
    session.down()
    await link.end()
