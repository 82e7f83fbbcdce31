"""Serves a feed, such as a recording that is played, over OPC UA."""

from __future__ import annotations

import asyncio
import contextlib
import math
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from historian.tags import TagKind
from simulator.feed import Feed
from simulator.opcua.ledger import Ledger
from simulator.opcua.places import FlatSpace
from simulator.opcua.published import Sample
from simulator.opcua.served import Features, ServedLine
from simulator.pace import Pace, seconds_due, stopped_by_signal
from simulator.serving import Serving, check_speed

# OPC 10000-4, 7.39: BadWaitingForInitialData.
_WAITING: Final = 0x8032_0000


async def serve_feed(
    feed: Feed,
    *,
    endpoint: str,
    speed: float = 1.0,
    ledger: Path | None = None,
    stop: asyncio.Event | None = None,
    ready: Callable[[Serving], None] | None = None,
) -> None:
    """Serve a feed until it ends or is stopped; what has no sample yet waits for its first one.

    Raises:
        WrongInput: the speed is out of range.
        OutsideWorldAway: the endpoint cannot be listened on.
        StoreReadOnly: the ledger cannot be written.
    """
    check_speed(speed, feed.speeds)
    with contextlib.ExitStack() as stack:
        book = stack.enter_context(Ledger(ledger)) if ledger is not None else None
        if stop is None:
            stop = stack.enter_context(stopped_by_signal())
        line = ServedLine(endpoint, feed.tags, Features(FlatSpace()))
        await line.build()
        now_ns, begun_s = time.time_ns() // 1_000_000 * 1_000_000, time.monotonic()
        zero_ns = feed.begin(now_ns)

        async def publish(samples: Sequence[Sample]) -> None:
            await line.publish([_with_a_value(feed, s) for s in samples])
            if book is not None:
                book.write(samples)

        first = feed.at(feed.start_s)
        await line.publish(_waiting(feed, first, zero_ns))
        await publish(first)
        await line.listen()
        try:
            if ready is not None:
                ready(Serving(endpoint, zero_ns, feed.start_s, feed.tags))
            async for second in seconds_due(Pace(feed.start_s, begun_s, speed), stop, feed.last_s):
                await publish(feed.at(second))
        finally:
            await line.stop()


def _waiting(feed: Feed, first: Sequence[Sample], time_ns: int) -> list[Sample]:
    """A note for each tag that has no sample yet: a new node must not pass for a measured zero."""
    known = {sample.column for sample in first}
    return [
        Sample(tag.path, column, time_ns, 0.0, _WAITING, True)
        for column, tag in enumerate(feed.tags)
        if column not in known
    ]


def _with_a_value(feed: Feed, sample: Sample) -> Sample:
    """An enumeration cannot hold NaN; under a bad status the number says nothing."""
    if math.isnan(sample.value) and feed.tags[sample.column].kind in (TagKind.CODE, TagKind.BOOLEAN):
        return replace(sample, value=0.0)
    return sample
