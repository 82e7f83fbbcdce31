"""Serves a feed over OPC UA: a scenario under way, or a recording that is played."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import time
from collections.abc import AsyncIterator, Callable, Sequence
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

from historian.errors import OutsideWorldAway, WrongInput
from simulator.opcua.archive import Archive
from simulator.opcua.places import NAMESPACE, FlatSpace, Space
from simulator.opcua.security import Security
from simulator.opcua.served import Features, ServedLine
from simulator.published import Sample
from simulator.serving.feed import Feed
from simulator.serving.ledger import Ledger, read_ledger
from simulator.serving.pace import Pace, seconds_due, stopped_by_signal
from simulator.serving.serving import Serving, check_speed
from simulator.serving.trouble import DEEDS, Trouble, check_troubles, make_when_due, needs_relay
from simulator.serving.trouble_relay import TroubleRelay

__all__ = ["NAMESPACE", "serve"]

# BadWaitingForInitialData, a StatusCode of OPC 10000-4.
_WAITING: Final = 0x8032_0000
_PORT: Final = 4840


async def serve(
    feed: Feed,
    *,
    endpoint: str = f"opc.tcp://127.0.0.1:{_PORT}",
    speed: float = 1.0,
    ledger: Path | None = None,
    history: bool = False,
    history_file: Path | None = None,
    security: Security | None = None,
    alarms: bool = False,
    space: Space | None = None,
    troubles: Sequence[Trouble] = (),
    relay: bool = False,
    stop: asyncio.Event | None = None,
    ready: Callable[[Serving], None] | None = None,
) -> None:
    """Serve a feed until it ends or is stopped; what has no sample yet waits for its first one.

    Args:
        speed: seconds of the feed a second, at any of which every second of it is published.
        ledger: file that keeps each published sample.
        history: whether the machine remembers a day of its samples and answers HistoryRead.
        history_file: the same, and a ledger that is read at the start and gone on with.
        security: certificates and users; None: open to everybody.
        alarms: whether the machine has an alarm list of its own (Alarms & Conditions, and a plain list).
        space: how the nodes are laid out; None: flat.
        troubles: what is done to clients, and when.
        relay: whether connections can be made trouble with that ``troubles`` does not name.
        stop: ends the serving; None: SIGTERM and SIGINT do.
        ready: called once clients can connect.

    Raises:
        WrongInput: the speed is out of range, or a trouble cannot be made.
        OutsideWorldAway: the endpoint cannot be listened on.
        StoredDataDamaged: the history file is no ledger.
        StoreReadOnly: a ledger cannot be written.
    """
    if history_file is not None and history_file == ledger:
        raise WrongInput(f"{ledger}: history and ledger cannot be one file; name two")
    check_speed(speed, feed.speeds)
    possible = set(DEEDS) if security is not None else set(DEEDS) - {"new certificate"}
    check_troubles(
        troubles, possible, "an OPC UA server" if security else "an OPC UA server without --secure"
    )
    archive = _remembered(history_file) if history or history_file is not None else None
    features = Features(FlatSpace() if space is None else space, archive, security, alarms)
    with contextlib.ExitStack() as stack:
        books = [stack.enter_context(Ledger(ledger))] if ledger is not None else []
        if history_file is not None:
            books.append(stack.enter_context(Ledger(history_file, append=True)))
        if stop is None:
            stop = stack.enter_context(stopped_by_signal())
        _check_free(endpoint)
        behind = _address_behind() if relay or needs_relay(troubles) else None
        line = ServedLine(endpoint, feed.tags, features, books, behind)
        await line.build()
        now_ns, begun_s = time.time_ns() // 1_000_000 * 1_000_000, time.monotonic()
        zero_ns = feed.begin(now_ns)
        first = feed.at(feed.start_s)
        await line.show(_waiting(feed, first, zero_ns))
        await line.publish(first, feed.said())
        async with _listening(line, endpoint, behind), _troubled(line, troubles, begun_s):
            if ready is not None:
                ready(Serving(endpoint, zero_ns, feed.start_s, feed.tags, line))
            async for second in seconds_due(Pace(feed.start_s, begun_s, speed), stop, feed.last_s):
                await line.publish(feed.at(second), feed.said())


@contextlib.asynccontextmanager
async def _listening(line: ServedLine, endpoint: str, behind: tuple[str, int] | None) -> AsyncIterator[None]:
    """Let clients connect, through a relay where there is one, until the end of the block."""
    async with contextlib.AsyncExitStack() as stack:
        await line.listen()
        stack.push_async_callback(line.stop)
        if behind is not None:
            host, port = _address(endpoint)
            line.relay = await stack.enter_async_context(TroubleRelay.listening(host, port, behind))
        yield


@contextlib.asynccontextmanager
async def _troubled(line: ServedLine, troubles: Sequence[Trouble], begun_s: float) -> AsyncIterator[None]:
    """Make the troubles when they are due, until the end of the block."""
    async with asyncio.TaskGroup() as group:
        making = group.create_task(make_when_due(troubles, line, begun_s))
        try:
            yield
        finally:
            making.cancel()


def _address(endpoint: str) -> tuple[str, int]:
    parts = urlsplit(endpoint)
    return parts.hostname or "127.0.0.1", parts.port or _PORT


def _check_free(endpoint: str) -> None:
    """Tell before a server is built, which takes seconds, what would fail afterwards."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(_address(endpoint))
        except OSError as error:
            raise OutsideWorldAway(
                f"{endpoint}: cannot listen there ({error}); name another endpoint"
            ) from error


def _address_behind() -> tuple[str, int]:
    """Where the server listens when a relay takes its place: a port that is free at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return "127.0.0.1", int(probe.getsockname()[1])


def _remembered(file: Path | None) -> Archive:
    archive = Archive()
    if file is not None:
        archive.keep(read_ledger(file))
    return archive


def _waiting(feed: Feed, first: Sequence[Sample], time_ns: int) -> list[Sample]:
    """A note for each tag that has no sample yet: a new node must not pass for a measured zero."""
    known = {sample.column for sample in first}
    return [
        Sample(tag.path, column, time_ns, 0.0, _WAITING, True)
        for column, tag in enumerate(feed.tags)
        if column not in known
    ]
