"""Runs the sources and the writer together, and stops them in the right order."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable

from collector.inbox import Inbox
from collector.source import Source
from collector.writer import Writer

ASK_AGAIN_S = 3.0


async def collect(sources: Iterable[Source], inbox: Inbox, writer: Writer) -> None:
    """Collect until cancelled: the sources stop first, then the writer keeps what they left."""
    async with asyncio.TaskGroup() as outer:
        writing = outer.create_task(writer.run())
        try:
            async with asyncio.TaskGroup() as inner:
                for source in sources:
                    inner.create_task(_run(source, inbox))
        finally:
            writing.cancel()


async def _run(source: Source, inbox: Inbox) -> None:
    """Run a source until it is cancelled, and see to it that it then ends.

    A cancellation can be lost below us: before Python 3.12 ``asyncio.wait_for``, which libraries use, loses
    one that comes in the moment in which it has its result. So the source is asked again until it has ended.
    """
    running = asyncio.create_task(source.run(inbox, inbox.tell))
    try:
        await asyncio.wait([running])
    except asyncio.CancelledError:
        while not running.done():
            running.cancel()
            await asyncio.wait([running], timeout=ASK_AGAIN_S)
        if not running.cancelled():
            running.result()
        raise
    await running
